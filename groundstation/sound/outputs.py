"""What a beat may sound through, and the one thing that is there on every machine: the bell.

Rule of every output: it returns at once, it never raises, and what went wrong is one plain sentence
in `trouble`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TextIO

from groundstation.radio.level import Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """One beat of the rhythm."""

    level: Level
    sounding_s: float
    """How long a tone lasts."""
    stop_margin_db: float | None
    """Gives the pitch; None where it is not known."""


class Output(Protocol):
    """Something that a beat is heard through."""

    @property
    def trouble(self) -> str:
        """Why nothing is heard, one plain sentence; empty while all is well."""
        ...

    def prepare(self) -> None:
        """Get ready, long before the first beat; may be called again."""
        ...

    def sound(self, beat: Beat) -> bool:
        """Let a beat be heard; return False where that is not possible now."""
        ...

    def close(self) -> None:
        """Fall silent and let everything go; may be called twice."""
        ...


class BellOutput:
    """The terminal's bell: one ring a beat."""

    def __init__(self, ring: Callable[[], None]) -> None:
        self._ring = ring
        self.trouble = ""

    def prepare(self) -> None:
        """Nothing is needed."""

    def sound(self, beat: Beat) -> bool:
        """Ring once."""
        try:
            self._ring()
        except (OSError, ValueError) as error:  # the terminal is gone, or its stream is closed
            self.trouble = f"the terminal's bell cannot be rung: {error}"
            return False
        return True

    def close(self) -> None:
        """Nothing is held."""


def bell_of(stream: TextIO) -> Callable[[], None]:
    """Return what rings the bell of the terminal behind a stream."""

    def ring() -> None:
        stream.write("\a")
        stream.flush()

    return ring
