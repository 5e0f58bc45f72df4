"""A session's report as its user reads it in the terminal: what matters most first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from groundstation.analysis.session import PassAnalysis
from groundstation.cautions import CAUTION
from groundstation.cli.report_picture import pictures
from groundstation.report.notable import notable
from groundstation.report.words import UNKNOWN, Telling, direction, number, place
from groundstation.wording import clock_text, filled, printable

if TYPE_CHECKING:
    from rich.table import Table

NARROWEST, WIDEST = 80, 100
MOST_PASSES = 20
MOST_NOTABLE = 12


def print_report(telling: Telling, out: Path) -> None:
    """Print the summary as wide as the terminal, and where the page is."""
    from rich.console import Console
    from rich.text import Text

    console = Console()
    width = min(max(console.width, NARROWEST), WIDEST)

    def say(text: str, style: str = "") -> None:
        console.print(Text(text, style=style), soft_wrap=True)

    say(_title(telling), "bold")
    if telling.sheet.invented:
        say("simulated and invented: no real car was driven")
    for line in incident_lines(telling, width):
        say(line, "bold" if line.startswith("ENDED BADLY") else "")
    if telling.analysis.passes:
        say("")
        console.print(_table(telling), soft_wrap=True)
        say("brakes: mean from lift to rest, m/s²", "dim")
    for line in body_lines(telling, width):
        say(line)
    say("")
    say(f"page: {printable(str(out))}")
    say("\n".join(filled(CAUTION, width)), "dim")


def incident_lines(telling: Telling, width: int) -> list[str]:
    """Return how the session ended, where it ended badly."""
    incident = telling.analysis.incident
    if incident is None:
        return []
    words = incident.order_words
    lines = ["", *filled(f"ENDED BADLY: {incident.reason}. {_upper(words)}.", width)]
    for each in incident.departures:
        lines += filled(each.words, width, first="  ", then="    ")
    if incident.position is not None:
        lines += filled(f"Where it is: {incident.position.words}.", width)
    return [printable(line) for line in lines]


def body_lines(telling: Telling, width: int) -> list[str]:
    """Return all that stands under the table of passes."""
    analysis = telling.analysis
    lines: list[str] = []
    if len(analysis.passes) > MOST_PASSES:
        lines.append(
            f"the {MOST_PASSES} fastest of {len(analysis.passes)} passes; all are in the page"
        )
    mean = analysis.two_way
    if mean is not None:
        value = telling.speed_with_error(mean.by_time_mps, 1.96 * mean.by_time_sigma_mps)
        lines += [
            "",
            f"two directions: {value} {telling.unit} over {mean.first.distance_m:g} m, passes "
            f"{mean.first.pass_number} and {mean.second.pass_number}",
        ]
    picture = pictures(telling, width=width)
    if picture:
        lines += ["", *picture]
    told = [] if analysis.why_not("link") else [analysis.link.words]
    if not analysis.why_not("braking"):
        told.append(analysis.learned_words)
    for words in told:
        lines += ["", *filled(f"{_upper(words)}.", width)]
    found = notable(telling)
    if found:
        lines += ["", "Out of the ordinary:"]
        for each in found[:MOST_NOTABLE]:
            lines += filled(f"- {each}", width, then="  ")
        if len(found) > MOST_NOTABLE:
            lines.append(f"  and {len(found) - MOST_NOTABLE} more, in the page")
    if analysis.left_out:
        lines += ["", *(f"left out: {each.part}: {each.reason}" for each in analysis.left_out)]
    return [printable(line) for line in lines]


def _title(telling: Telling) -> str:
    sheet, count = telling.sheet, len(telling.analysis.passes)
    when = f"{sheet.started:%Y-%m-%d %H:%M}" if sheet.started else "no date"
    passes = f"{count} pass{'' if count == 1 else 'es'}"
    return printable(
        f"{telling.vehicle}  {when}  {clock_text(sheet.duration_s)}  {passes}  {sheet.file}"
    )


def _table(telling: Telling) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("pass", no_wrap=True)
    over = "over 20 m" if telling.analysis.questions.trap_m is None else "trap"
    heads = ["way", f"peak {telling.unit}", over, "margin dB", "yaw deg/s", "shock g", "brakes"]
    for heading in heads:
        table.add_column(heading, justify="right", no_wrap=True)
    chosen = sorted(telling.analysis.passes, key=_slowness)[:MOST_PASSES]
    for one in sorted(chosen, key=lambda each: each.span.number):
        table.add_row(*_cells(telling, one))
    return table


def _cells(telling: Telling, one: PassAnalysis) -> list[str]:
    timed, lowest, hardest, braking = one.timed, one.lowest, one.hardest, one.braking
    shock = UNKNOWN
    if hardest is not None:
        shock = (
            number(hardest.peak_g)
            if hardest.peak_g is not None
            else f"≥ {number(hardest.at_least_g)}"
        )
    margin = UNKNOWN
    if lowest is not None:
        margin = number(lowest.margin_db)
        margin += "" if lowest.along_m is None else f" at {place(lowest.along_m)}"
    return [
        f"{one.span.number}",
        direction(one),
        telling.peak(one.speed),
        UNKNOWN
        if timed is None
        else telling.speed_with_error(timed.speed_mps, 1.96 * timed.sigma_mps),
        margin,
        number(one.yaw_rate_abs_dps, 0),
        shock,
        number(braking.mean_decel_mps2) if braking is not None and braking.teaches else UNKNOWN,
    ]


def _slowness(one: PassAnalysis) -> float:
    return 0.0 if one.speed is None else -one.speed.peak.speed_mps


def _upper(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"
