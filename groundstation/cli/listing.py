"""The recorded sessions with their figures, as a table and as data."""

from __future__ import annotations

import sys
from pathlib import Path

from groundstation.cli.session_ends import ended_badly_words
from groundstation.recording.info import SessionInfo
from groundstation.recording.reader import list_sessions, open_session
from groundstation.units import SpeedUnit
from groundstation.wording import clock_text, printable

BAR_FROM = 40
"""Sessions."""


def list_figures(folder: Path) -> list[dict[str, object]]:
    """Return each session's figures, oldest first; a file that cannot be read says why."""
    from rich.console import Console
    from rich.progress import track

    infos = list_sessions(folder)
    # Half a second of work is worth no bar.
    quiet = len(infos) < BAR_FROM or not sys.stderr.isatty()
    console = Console(stderr=True)
    return [
        _figures(info)
        for info in track(
            infos, description="looking", console=console, transient=True, disable=quiet
        )
    ]


def print_table(figures: list[dict[str, object]], folder: Path, unit: SpeedUnit) -> None:
    """Print the figures as a table."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console()
    if not figures:
        console.print(f"no sessions in {folder}; `groundstation demo` records one", markup=False)
        return
    table = Table(box=None, pad_edge=False)
    bad = [row for row in figures if row.get("ended_badly")]
    if bad:
        table.add_column("", no_wrap=True)
    table.add_column("session", no_wrap=True)
    for heading in ("length", f"peak {unit}", "lowest margin", "passes", "marks"):
        table.add_column(heading, justify="right", no_wrap=True)
    for row in figures:
        mark = ["!" if row in bad else ""] if bad else []
        table.add_row(*(Text(printable(cell)) for cell in [*mark, *_cells(row, unit)]))
    console.print(table)
    if bad:
        name = printable(str(bad[-1]["file"]))
        console.print(
            f"! ended badly: see `groundstation report {name}`",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )


def _figures(info: SessionInfo) -> dict[str, object]:
    figures: dict[str, object] = {"file": info.path.name, "problem": info.problem or None}
    if info.problem:
        return figures
    figures["vehicle"] = info.vehicle_name
    figures["started"] = info.started.isoformat() if info.started else None
    figures["duration_s"] = round(info.duration_s, 3)
    figures["ended_cleanly"] = info.ended_cleanly
    summary = info.summary or _summary_of_raw(info.path)
    for key in ("frames", "lost", "rejected", "passes", "marks"):
        figures[key] = summary.get(key)
    figures["peak_speed_mps"] = summary.get("peak_speed_mps")
    figures["lowest_margin_db"] = summary.get("lowest_margin_db")
    figures["ended_badly"] = ended_badly_words(info, summary.get("peak_speed_mps"))
    return figures


def _summary_of_raw(path: Path) -> dict[str, object]:
    """Return the figures of a session that was not closed: run it through the core."""
    from groundstation.vehicle.telemetry import Telemetry
    from groundstation.vehicle.timeline import Timeline

    telemetry = Telemetry()
    timeline = Timeline(telemetry, [])
    for inbound in open_session(path).inbound():
        timeline.accept(inbound)
    return dict(telemetry.state.summary())


def _cells(row: dict[str, object], unit: SpeedUnit) -> list[str]:
    if row["problem"]:
        return [f"{row['file']}: {row['problem']}", *[""] * 5]
    duration_s, margin_db = row["duration_s"], row["lowest_margin_db"]
    peak_mps = row["peak_speed_mps"]
    return [
        str(row["file"]),
        clock_text(duration_s) if isinstance(duration_s, float) else "--",
        f"{unit.from_mps(peak_mps):.1f}" if isinstance(peak_mps, int | float) else "--",
        f"{margin_db:.1f} dB" if isinstance(margin_db, int | float) else "--",
        "--" if row["passes"] is None else str(row["passes"]),
        "--" if row["marks"] is None else str(row["marks"]),
    ]
