"""Braking: how hard, how far, how straight, and the lines for the vehicle's file."""

from __future__ import annotations

from groundstation.analysis.braking import BrakingFigures, Learned
from groundstation.report.markup import Child, Markup, joined, long_table, tag
from groundstation.report.section import Section, missing, section
from groundstation.report.words import UNKNOWN, Telling, number

MOST_ROWS = 12


def braking_section(telling: Telling) -> Section:
    """Return the part about braking."""
    analysis = telling.analysis
    why_not = analysis.why_not("braking")
    if why_not:
        return section("Braking", missing(why_not), key="braking")
    rows = [_row(telling, each.braking) for each in analysis.passes if each.braking is not None]
    unit = telling.unit
    heads = ["pass", f"from, {unit}", f"to, {unit}", "distance, m", "time, s", "mean, m/s²"]
    heads += ["MFDD, m/s²", "yaw rate, deg/s", "begin told by", "teaches"]
    words = analysis.learned_words
    return section(
        "Braking",
        long_table(heads, rows, most=MOST_ROWS),
        tag(
            "p",
            "The mean is over the whole way from lift to rest, and is what the forecast of the "
            "stop point uses. MFDD is the mean fully developed deceleration, from 80 % to 10 % of "
            "the speed. Only a whole stop in a straight line with the brake on teaches anything.",
        ),
        tag("p", f"{words[0].upper()}{words[1:]}."),
        _lines(analysis.learned),
        key="braking",
    )


def stopping_lines(learned: Learned) -> str:
    """Return what `[stopping]` of the vehicle's file should say."""
    return (
        "[stopping]\n"
        f"decel_mps2 = {learned.decel_mps2:.2f}\n"
        f"decel_sigma_mps2 = {learned.decel_sigma_mps2:.2f}"
    )


def _lines(learned: Learned | None) -> Markup | None:
    if learned is None:
        return None
    return joined(
        tag(
            "p",
            "For the vehicle's file; ",
            tag("code", "report SESSION --accept-braking VEHICLE"),
            " writes them there:",
        ),
        tag("pre", stopping_lines(learned)),
    )


def _row(telling: Telling, braking: BrakingFigures) -> list[Child]:
    return [
        f"{braking.pass_number}",
        telling.speed(braking.speed_mps, 0),
        telling.speed(braking.end_speed_mps, 0),
        number(braking.distance_m, 0),
        number(braking.time_s),
        tag("strong", number(braking.mean_decel_mps2)),
        number(braking.mfdd_mps2) if braking.mfdd_mps2 is not None else UNKNOWN,
        number(braking.yaw_rate_abs_dps, 0),
        braking.told_by,
        "yes" if braking.teaches else "no",
    ]
