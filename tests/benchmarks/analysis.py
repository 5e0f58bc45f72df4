"""How right the figures after a run are: speed, yaw and shocks, incidents, in one table.

Each figure is over simulated passes whose truth is known, drawn from seeds that nothing was tuned
on. A share has Wilson's interval (95 %); a target is met or not by the figure itself.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tests.benchmarks import _analysis_incident, _analysis_speed, _analysis_yaw
from tests.benchmarks._analysis_rows import Row as FigureRow
from tests.benchmarks._targets import Row

QUICK = ("--share", "0.1")


@dataclass(frozen=True, slots=True)
class Part:
    """One of the three Monte Carlos."""

    title: str
    rows: Callable[[int, int], Sequence[FigureRow]]
    """How many, and the first seed."""
    usual: int
    seed: int


PARTS = {
    "speed": Part("speed and braking", _analysis_speed.rows, 400, 90_000),
    "yaw": Part("yaw and shocks", _analysis_yaw.rows, 330, 91_000),
    "incident": Part("what came first", _analysis_incident.rows, 320, 92_000),
}


def run(names: Sequence[str], share: float) -> dict[str, list[dict[str, object]]]:
    """Return the rows of each part.

    Args:
        names: Of `PARTS`.
        share: Of the usual number of passes.
    """
    found = {}
    for name in names:
        part = PARTS[name]
        rows = part.rows(max(round(share * part.usual), 10), part.seed)
        found[name] = [asdict(row) for row in rows]
    return found


def table_of(found: dict[str, list[dict[str, object]]]) -> str:
    """Return the rows as a table."""
    lines = []
    for name, rows in found.items():
        lines += ["", PARTS[name].title]
        for row in rows:
            interval, met = row["interval"], row["met"]
            told = f"{row['figure']:.4g} {row['unit']}".rstrip()
            between = ""
            if isinstance(interval, tuple):
                between = f"{interval[0]:.3g} to {interval[1]:.3g}"
            verdict = "" if met is None else "met" if met else "NOT MET"
            lines.append(
                f"  {str(row['name'])[:70]:70} {told:>14}  {between:>16}  {row['target']!s:>9}  "
                f"{verdict}".rstrip()
            )
    return "\n".join(lines).strip("\n")


def targets(found: dict[str, list[dict[str, Any]]]) -> list[Row]:
    """Return what was to be reached."""
    return [
        Row(
            str(row["name"]),
            f"{row['figure']:.4g} {row['unit']}".rstrip(),
            str(row["target"]),
            bool(row["met"]),
        )
        for rows in found.values()
        for row in rows
        if row["met"] is not None
    ]


def main(argv: list[str]) -> int:
    """Print the figures, or one JSON object; 1 where a target is not met."""
    parser = argparse.ArgumentParser(prog="analysis", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--part", choices=list(PARTS), action="append", help="only this one")
    parser.add_argument("--share", type=float, default=1.0, help="of the usual number of passes")
    options = parser.parse_args(argv)
    found = run(options.part or list(PARTS), options.share)
    print(json.dumps(found) if options.json else table_of(found))
    return int(any(row["met"] is False for rows in found.values() for row in rows))
