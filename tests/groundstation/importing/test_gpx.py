"""GPX: what is read of a track, and that nothing in a file can hurt."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from groundstation.errors import SessionFileError
from groundstation.importing.gpx import gpx_log
from protocol import standard_table
from tests.groundstation.importing.reading import recorded

TABLE = standard_table()

TRACK = """<?xml version="1.0"?>
<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1" xmlns:e="urn:other">
<wpt lat="10" lon="20"><time>2031-05-04T10:00:01Z</time><name>Bump &amp; \u202e
here</name></wpt>
<wpt lat="10" lon="20"><name>without a time</name></wpt>
<trk><trkseg>
<trkpt lat="10.0" lon="20.0"><ele>101.5</ele><time>2031-05-04T12:00:00+02:00</time><fix>3d</fix>
<sat>9</sat><extensions><e:speed>3.25</e:speed><e:course>359.999</e:course></extensions></trkpt>
<trkpt lat="10.0001" lon="20.0"><time>2031-05-04T10:00:00.500Z</time></trkpt>
<trkpt lat="10.0002" lon="20.0"></trkpt>
</trkseg><trkseg>
<trkpt lat="10.0003" lon="20.0"><time>2031-05-04T10:00:02Z</time></trkpt>
</trkseg></trk></gpx>"""


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "track.gpx"
    path.write_text(text, encoding="utf-8")
    return path


def test_points_are_fixes_and_waypoints_marks(tmp_path: Path) -> None:
    log = gpx_log(written(tmp_path, TRACK), TABLE)
    assert log.started == datetime(2031, 5, 4, 10, tzinfo=UTC)
    assert log.marks == ((1.0, "Bump & \ufffd here"),)
    assert log.counts["points without a time or a place"] == 1
    batch = recorded(log)
    assert batch.times("fix").at_s.tolist() == [0.0, 0.5, 2.0]
    assert batch.column("latitude_deg").tolist() == [10.0, 10.0001, 10.0003]
    assert batch.column("ground_speed_mps")[0] == 3.25
    assert batch.column("fix_type")[0] == 3
    assert batch.column("satellites")[0] == 9
    assert batch.column("altitude_m").tolist() == [101.5]
    assert np.isnan(batch.column("ground_speed_mps")[1:]).all()


def test_a_track_without_times_is_refused_in_plain_words(tmp_path: Path) -> None:
    text = TRACK.replace("<time>", "<when>").replace("</time>", "</when>")
    with pytest.raises(SessionFileError, match="without times"):
        gpx_log(written(tmp_path, text), TABLE)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">'
            + "".join(
                f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(12)
            )
            + "]><gpx><trk><name>&m;</name></trk></gpx>",
            "document type",
        ),
        (
            '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx><name>&x;</name></gpx>',
            "document type",
        ),
        ("<gpx>" + "<a>" * 50_000, "no whole XML"),
        ("<kml><Placemark/></kml>", "no GPX"),
        ("<gpx></gpx>", "no track"),
        (TRACK[:-10], "no whole XML"),
        ("<gpx>\x00</gpx>", "no whole XML"),
        ('<?xml version="1.0" encoding="nonsense"?><gpx/>', "no whole XML"),
        ('<gpx><trk><trkpt lat="nan" lon="1e999"><time>2031-01-01T00:00:00Z</time></trkpt>'
         "</trk></gpx>", "without times"),
    ],
)  # fmt: skip
def test_hostile_documents_end_in_one_sentence(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(SessionFileError, match=said):
        gpx_log(written(tmp_path, text), TABLE)
