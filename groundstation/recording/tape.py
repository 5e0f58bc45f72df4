"""What a recording is to whoever replays or analyses it, a session file or a raw capture alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING, NamedTuple, Protocol

from groundstation.inbound import Inbound

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class IndexEntry(NamedTuple):
    """Something that happened, for lists and seeking."""

    at_s: float
    kind: str
    """mark, pass, level, source, recording, ..."""
    text: str
    """One line, free of control characters."""


@dataclass(frozen=True, slots=True, eq=False)
class RawColumns:
    """All bytes of a recording, for batch decoding."""

    data: bytes
    at_s: NDArray[np.float64]
    """Arrival of each chunk, never decreasing."""
    sizes: NDArray[np.uint32]
    """Bytes of each chunk; they add up to the length of `data`."""
    restarts: NDArray[np.int64]
    """Offsets in `data` at which a new link begins: no frame reaches across. Increasing."""


class Tape(Protocol):
    """A recording that can be read from any moment on."""

    @property
    def end_at_s(self) -> float:
        """Where it ends, on the session clock."""
        ...

    def inbound(self, from_at_s: float = -inf) -> Iterator[Inbound]:
        """Yield the events that arrived at `from_at_s` or later, in recorded order."""
        ...

    def columns(self) -> RawColumns:
        """Return all bytes with their arrival times."""
        ...

    def events(self) -> Sequence[IndexEntry]:
        """Return the index of what happened, by time; empty where there is none."""
        ...

    def checkpoint_before(self, at_s: float) -> tuple[float, bytes] | None:
        """Return the last kept state at or before a moment, with its own time."""
        ...
