"""Good frames sorted by kind and vehicle, and their fields as NumPy reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocol.batch_frames import FrameRows
from protocol.table import HEADER, Kind

_KIND_AND_VEHICLE = np.dtype({"names": ["both"], "formats": ["<u2"], "itemsize": HEADER.size})
"""The first two bytes of a header as one number."""


@dataclass(frozen=True, slots=True)
class Group:
    """The frames of one kind and vehicle."""

    place: NDArray[np.int64]
    """Where each stands among all good frames, in the order of the stream."""
    body: NDArray[np.uint8]
    """Header and payload; where the frames have several lengths, padded with zeros."""
    size: NDArray[np.int64]
    """Bytes of each body."""


def grouped(rows: list[FrameRows]) -> dict[tuple[int, int], Group]:
    """Return the frames by kind code and vehicle."""
    parts: dict[tuple[int, int], list[tuple[NDArray[np.int64], NDArray[np.uint8]]]] = {}
    for each in rows:
        whose = each.header.view(_KIND_AND_VEHICLE)["both"]
        if np.all(whose == whose[0]):
            parts.setdefault(_key(whose[0]), []).append((each.place, each.body))
            continue
        by_key = np.argsort(whose, kind="stable")
        borders = np.flatnonzero(np.diff(whose[by_key])) + 1
        for own in np.split(by_key, borders):
            parts.setdefault(_key(whose[own[0]]), []).append((each.place[own], each.body[own]))
    return {key: _merged(part) for key, part in parts.items()}


def _key(kind_and_vehicle: np.integer) -> tuple[int, int]:
    vehicle, kind = divmod(int(kind_and_vehicle), 256)
    return kind, vehicle


def _merged(parts: list[tuple[NDArray[np.int64], NDArray[np.uint8]]]) -> Group:
    """Return frames of several lengths as one group, in the order of the stream."""
    if len(parts) == 1:
        place, body = parts[0]
        return Group(place, body, np.full(len(place), body.shape[1]))
    widest = max(body.shape[1] for _, body in parts)
    place = np.concatenate([place for place, _ in parts])
    size = np.concatenate([np.full(len(body), body.shape[1]) for _, body in parts])
    padded = [np.pad(body, ((0, 0), (0, widest - body.shape[1]))) for _, body in parts]
    turn = np.argsort(place)
    return Group(place[turn], np.concatenate(padded)[turn], size[turn])


def record_dtype(kind: Kind, body_bytes: int) -> np.dtype[np.void]:
    """Return a body's fields as NumPy reads them, header and bytes behind them skipped."""
    formats = [f"S{each.size}" if each.is_text else f"<{each.code}" for each in kind.fields]
    sizes = [each.size for each in kind.fields]
    return np.dtype(
        {
            "names": [each.name for each in kind.fields],
            "formats": formats,
            "offsets": [HEADER.size + sum(sizes[:place]) for place in range(len(sizes))],
            "itemsize": body_bytes,
        }
    )
