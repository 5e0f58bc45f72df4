"""What a benchmark was to reach and what it reached, as rows of one table.

A module with targets has `QUICK`, the arguments of a short run, and `targets(found)`, which makes
rows of what its `run` found.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True)
class Row:
    """One target."""

    work: str
    figure: str
    target: str
    met: bool
    baseline: str = ""
    """Measured in the same run, by name."""
    ratio: float | None = None
    """Of the figure to the baseline's."""


class Benchmark(Protocol):
    """A module of a benchmark that has targets."""

    QUICK: tuple[str, ...]

    @staticmethod
    def targets(found: Any) -> list[Row]:
        """Return the rows of what was found."""
        ...


def table_of(rows: Iterable[Row]) -> str:
    """Return rows as a table for the terminal."""
    head = ("work", "figure", "baseline", "ratio", "target", "")
    lines = [head]
    for row in rows:
        ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
        verdict = "met" if row.met else "MISSED"
        lines.append((row.work, row.figure, row.baseline, ratio, row.target, verdict))
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    return "\n".join(
        "  ".join(f"{text:{width}}" for text, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )
