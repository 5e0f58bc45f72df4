"""A recording's fixes as a GPX 1.1 track, its marks as waypoints.

Rule: times are the session's start plus the vehicle's clock, which has no jitter of the way; where
nobody knows the start they count from 1970. GPX 1.1 has no place for speed and course in a point,
so they stand in its extensions, under a namespace of our own.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from groundstation.errors import SessionFileError
from groundstation.exporting.files import room_for
from groundstation.recording.decoded import decode_tape
from groundstation.recording.tape import Tape
from groundstation.whole_file import written_whole
from groundstation.wording import printable
from protocol import Table
from protocol.batch import Batch

NAMESPACE = "urn:groundstation:track:1"

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

GAP_S = 60.0
"""Fixes further apart are in segments of their own."""

MARK_S = 10.0
"""No mark is placed from a fix further away."""

_FIX_NAMES = {2: "2d", 3: "3d", 4: "dgps", 5: "dgps"}
"""The standard has no word for carrier phase; it is differential too."""

_Numbers = NDArray[np.float64]


def export_gpx(
    tape: Tape,
    table: Table,
    *,
    folder: Path,
    stem: str,
    started: datetime | None,
    vehicle: int | None = None,
    overwrite: bool = False,
) -> tuple[Path, int]:
    """Write the track of a recording; return the file and its points.

    Args:
        tape: The recording.
        table: Its frame table.
        folder: Where the file goes; made if it is not there.
        stem: How its name begins.
        started: Time of day at the session clock's zero; None where nobody knows.
        vehicle: Vehicle number; None takes the first one heard.
        overwrite: Whether a file that is there may be replaced.

    Raises:
        SessionFileError: There is no fix in the recording, or the file cannot be written.
        UsageError: The file is there already.
    """
    batch = decode_tape(tape, table)
    marks = [(each.at_s, each.text) for each in tape.events() if each.kind == "mark"]
    lines, points = _document(batch, vehicle, marks, started or EPOCH, stem)
    if not points:
        raise SessionFileError("there is no fix in this recording")
    path = folder / f"{stem}.gpx"
    with room_for([path], folder=folder, overwrite=overwrite), written_whole(path) as part:
        part.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path, points


def _document(
    batch: Batch,
    vehicle: int | None,
    marks: list[tuple[float, str]],
    started: datetime,
    name: str,
) -> tuple[list[str], int]:
    """Return the lines of the document, and how many points are in its track."""
    times = batch.times("fix", vehicle)
    columns = {
        channel: batch.column(channel, vehicle)
        for channel in (
            "latitude_deg",
            "longitude_deg",
            "ground_speed_mps",
            "course_deg",
            "satellites",
            "fix_type",
        )
    }
    good = np.isfinite(columns["latitude_deg"]) & np.isfinite(columns["longitude_deg"])
    good &= ~((columns["fix_type"] < 2) | times.late)
    if not good.any():
        return [], 0
    # The frame that was under way the shortest tells how the clocks stand to each other.
    offset_s = np.nanmin((times.at_s - times.vehicle_s)[good])
    at_s = (times.vehicle_s + offset_s)[good]
    kept = {channel: values[good] for channel, values in columns.items()}
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="groundstation" xmlns="http://www.topografix.com/GPX/1/1" '
        f'xmlns:gs="{NAMESPACE}">',
        f"<metadata><name>{escape(printable(name))}</name>"
        f"<time>{_time(started, 0.0)}</time></metadata>",
    ]
    for mark_s, text in marks:
        nearest_s = np.min(np.abs(at_s - mark_s))
        if nearest_s > MARK_S:
            continue
        latitude_deg = float(np.interp(mark_s, at_s, kept["latitude_deg"]))
        longitude_deg = float(np.interp(mark_s, at_s, kept["longitude_deg"]))
        lines.append(
            f'<wpt lat="{latitude_deg:.7f}" lon="{longitude_deg:.7f}">'
            f"<time>{_time(started, mark_s)}</time><name>{escape(printable(text))}</name></wpt>"
        )
    lines += [f"<trk><name>{escape(printable(name))}</name><trkseg>"]
    lines += _points(at_s, kept, started)
    lines += ["</trkseg></trk>", "</gpx>"]
    return lines, len(at_s)


def _points(at_s: _Numbers, kept: dict[str, _Numbers], started: datetime) -> Iterator[str]:
    before_s = at_s[0]
    for row, moment_s in enumerate(at_s.tolist()):
        if moment_s - before_s > GAP_S:
            yield "</trkseg><trkseg>"
        before_s = moment_s
        said = {channel: float(values[row]) for channel, values in kept.items()}
        known = {channel: value for channel, value in said.items() if value == value}
        extensions = "".join(
            f"<gs:{element}>{known[channel]:.2f}</gs:{element}>"
            for element, channel in (("speed", "ground_speed_mps"), ("course", "course_deg"))
            if channel in known
        )
        yield "".join(
            (
                f'<trkpt lat="{said["latitude_deg"]:.7f}" lon="{said["longitude_deg"]:.7f}">',
                f"<time>{_time(started, moment_s)}</time>",
                f"<fix>{_FIX_NAMES[int(known['fix_type'])]}</fix>" if "fix_type" in known else "",
                f"<sat>{int(known['satellites'])}</sat>" if "satellites" in known else "",
                f"<extensions>{extensions}</extensions>" if extensions else "",
                "</trkpt>",
            )
        )


def _time(started: datetime, at_s: float) -> str:
    moment = started.astimezone(UTC) + timedelta(seconds=at_s)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
