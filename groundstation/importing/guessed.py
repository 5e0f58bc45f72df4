"""What one column of a foreign table is taken for, and why."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Guessed:
    """What one column is taken for."""

    name: str
    channel: str | None
    """None leaves the column out."""
    why: str
    unit: str = ""
    sign: int = 1
    certain: bool = False
    """Whether nothing about it needs a guess: it carries our own name."""
