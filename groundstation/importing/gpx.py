"""Tracks in GPX 1.0 and 1.1: points with a time become fixes, waypoints with a time marks.

Rule: a document type is refused, and with it every entity, so nothing in a file can grow or reach
out; the document is read as a stream, never as a tree.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import isfinite, nan
from pathlib import Path
from xml.parsers import expat

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.importing.assemble import assemble
from groundstation.importing.cells import number, timestamp_s
from groundstation.importing.lines import Progress, checked_size, no_progress
from groundstation.importing.log import ForeignLog, usable_times
from groundstation.recording.store import unreadable
from groundstation.wording import printable
from protocol import Table

CHUNK_BYTES = 1 << 18

MAX_TEXT = 200
"""Characters kept of one element."""

MAX_POINTS = 5_000_000

MAX_MARKS = 10_000

_CHANNELS = {
    "ele": "altitude_m",
    "speed": "ground_speed_mps",
    "course": "course_deg",
    "sat": "satellites",
}
"""Elements by their local name, in the point or in its extensions."""

_FIX_TYPES = {"none": 0.0, "2d": 2.0, "3d": 3.0, "dgps": 4.0}


@dataclass(slots=True)
class _Point:
    latitude_deg: float
    longitude_deg: float
    is_mark: bool
    said: dict[str, str] = field(default_factory=dict)


class _Reader:
    """Takes what the parser finds."""

    def __init__(self) -> None:
        self.points: list[_Point] = []
        self.marks: list[_Point] = []
        self._open: _Point | None = None
        self._text: list[str] = []
        self._length = 0
        self.root = ""
        self.parser = expat.ParserCreate(namespace_separator=" ")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters
        self.parser.StartDoctypeDeclHandler = self._refuse

    def _refuse(self, *_: object) -> None:
        raise SessionFileError("the file has a document type, which no GPX track needs")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        local = name.rpartition(" ")[2]
        self.root = self.root or local
        self._text, self._length = [], 0
        if local in ("trkpt", "wpt"):
            latitude = number(attributes.get("lat", ""))
            longitude = number(attributes.get("lon", ""))
            self._open = _Point(latitude, longitude, local == "wpt")

    def _characters(self, text: str) -> None:
        if self._length < MAX_TEXT:
            self._text.append(text[:MAX_TEXT])
            self._length += len(text)

    def _end(self, name: str) -> None:
        local, point = name.rpartition(" ")[2], self._open
        if point is None:
            return
        if local not in ("trkpt", "wpt"):
            if local in ("time", "fix", "name", *_CHANNELS):
                point.said.setdefault(local, "".join(self._text)[:MAX_TEXT].strip())
            return
        self._open = None
        held = self.marks if point.is_mark else self.points
        if len(held) >= (MAX_MARKS if point.is_mark else MAX_POINTS):
            raise SessionFileError("the file holds too many points", "Cut it into parts")
        held.append(point)


def gpx_log(path: Path, table: Table, progress: Progress = no_progress) -> ForeignLog:
    """Return the log in a GPX file.

    Raises:
        SessionFileError: It cannot be read, is no GPX, or its points have no times.
    """
    found = _read(path, progress)
    counts: Counter[str] = Counter()
    stamped = [(timestamp_s(p.said.get("time", "")), p) for p in found.points]
    timed = sorted(
        (
            (at, p)
            for at, p in stamped
            if isfinite(at) and isfinite(p.latitude_deg + p.longitude_deg)
        ),
        key=lambda pair: pair[0],
    )
    if not found.points:
        raise SessionFileError(f"{path} holds no track")
    if not timed:
        raise SessionFileError(
            f"{path} has a track without times, so nobody can tell how fast it was driven",
            "Save it again with a time at every point",
        )
    if len(timed) < len(found.points):
        counts["points without a time or a place"] += len(found.points) - len(timed)
    times_s = np.array([at for at, _ in timed])
    usable = usable_times(times_s, counts)
    channels = {
        "latitude_deg": np.array([p.latitude_deg for _, p in timed]),
        "longitude_deg": np.array([p.longitude_deg for _, p in timed]),
        "fix_type": np.array([_FIX_TYPES.get(p.said.get("fix", ""), nan) for _, p in timed]),
    }
    for element, channel in _CHANNELS.items():
        channels[channel] = np.array([number(p.said.get(element, "")) for _, p in timed])
    kept_s = times_s[usable]
    series, text = assemble(
        kept_s - kept_s[0],
        {name: values[usable] for name, values in channels.items() if np.isfinite(values).any()},
        table,
        counts,
    )
    return ForeignLog(
        series,
        datetime.fromtimestamp(float(kept_s[0]), UTC),
        marks=_marks(found.marks, float(kept_s[0]), float(kept_s[-1])),
        channels_text=text,
        counts=counts,
    )


def _marks(points: list[_Point], first_s: float, last_s: float) -> tuple[tuple[float, str], ...]:
    marks = []
    for point in points:
        at_s = timestamp_s(point.said.get("time", ""))
        if first_s <= at_s <= last_s:
            name = re.sub(r"\s+", " ", point.said.get("name", ""))
            marks.append((at_s - first_s, printable(name)))
    return tuple(sorted(marks))


def _read(path: Path, progress: Progress) -> _Reader:
    checked_size(path)
    reader, done = _Reader(), 0
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK_BYTES):
                reader.parser.Parse(chunk, False)
                done += len(chunk)
                progress(done)
                if reader.root not in ("gpx", ""):
                    raise SessionFileError(f"{path} is XML, but no GPX")
        reader.parser.Parse(b"", True)
    except OSError as error:
        raise unreadable(path, error) from error
    except (expat.ExpatError, ValueError, LookupError) as error:
        raise SessionFileError(f"{path} is no whole XML document ({error})") from error
    return reader
