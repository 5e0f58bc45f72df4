"""The track of a recording's fixes, read back by `gpxpy`."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import gpxpy
import pytest

from groundstation.errors import SessionFileError, UsageError
from groundstation.exporting.gpx import NAMESPACE, export_gpx
from groundstation.inbound import BytesReceived, MarkMade
from groundstation.recording.capture import open_capture
from groundstation.recording.reader import SessionFile, open_session
from groundstation.recording.writer import Recorder
from protocol import Sender, Value, standard_table

TABLE = standard_table()

STARTED = datetime(2031, 5, 4, 14, 22, 33, tzinfo=UTC)


def driven(folder: Path, *, mark: str = "bump") -> SessionFile:
    """Return a session of eight fixes at 10 Hz that came late and unevenly, and of two marks."""
    sender = Sender()
    recorder = Recorder(folder, facts={}, started=STARTED, software_version="test")
    for number in range(8):
        values: dict[str, Value] = {
            "latitude_deg": 10.0 + number * 1e-4,
            "longitude_deg": 20.0,
            "ground_speed_mps": 11.25,
            "course_deg": 0.0,
            "satellites": 9,
            "fix_type": 0 if number == 7 else 5,
        }
        data = sender.encode("fix", values, 50_000_000 + number * 100_000)
        recorder.record(BytesReceived(0.1 * number + 0.03 * (number % 3), data))
    for at_s, text in ((0.25, mark), (500.0, "far from any fix")):
        recorder.record(MarkMade(at_s, text))
        recorder.note_event(at_s, None, "mark", text)
    path = recorder.close(end_at_s=1.0, summary={}, vehicle_name=None)
    assert path is not None
    return open_session(path)


def test_a_track_has_the_clock_of_the_vehicle(tmp_path: Path) -> None:
    session = driven(tmp_path)
    path, points = export_gpx(
        session, TABLE, folder=tmp_path / "out", stem="run", started=session.info.started
    )
    assert points == 7
    read = gpxpy.parse(path.read_text(encoding="utf-8"))
    assert read.version == "1.1"
    (segment,) = read.tracks[0].segments
    assert [point.latitude for point in segment.points] == pytest.approx(
        [10.0 + number * 1e-4 for number in range(7)]
    )
    since_s = [(point.time - STARTED).total_seconds() for point in segment.points if point.time]
    assert since_s == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6])
    assert {(point.satellites, point.type_of_gpx_fix) for point in segment.points} == {(9, "dgps")}
    (mark,) = read.waypoints
    assert (mark.name, mark.latitude) == ("bump", pytest.approx(10.00025))
    tree = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    speeds = [float(each.text or "nan") for each in tree.iter(f"{{{NAMESPACE}}}speed")]
    assert speeds == [11.25] * 7


def test_a_mark_cannot_break_the_document(tmp_path: Path) -> None:
    session = driven(tmp_path, mark="</name><x>&\x1b\ud800\x00")
    path, _ = export_gpx(session, TABLE, folder=tmp_path / "out", stem="a<b", started=None)
    text = path.read_text(encoding="utf-8")
    read = gpxpy.parse(text)
    assert (read.waypoints[0].name or "").startswith("</name><x>&\ufffd")
    assert read.tracks[0].name == "a<b"
    assert "1970-01-01T00:00:00.000Z" in text


def test_a_track_needs_fixes_and_is_not_written_over(tmp_path: Path) -> None:
    session = driven(tmp_path)
    out = tmp_path / "out"
    export_gpx(session, TABLE, folder=out, stem="run", started=None)
    with pytest.raises(UsageError, match="there already"):
        export_gpx(session, TABLE, folder=out, stem="run", started=None)
    export_gpx(session, TABLE, folder=out, stem="run", started=None, overwrite=True)
    capture = tmp_path / "run.bin"
    capture.write_bytes(Sender().encode("motion", {"speed_mps": 1.0}, 0))
    with pytest.raises(SessionFileError, match="no fix"):
        export_gpx(open_capture(capture, TABLE), TABLE, folder=out, stem="two", started=None)
