"""One figure of a Monte Carlo over what the analysis says."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One figure."""

    name: str
    figure: float
    unit: str = ""
    interval: tuple[float, float] | None = None
    """Wilson's, 95 %, where the figure is a share."""
    target: str = ""
    met: bool | None = None
    """None where there is no target."""
