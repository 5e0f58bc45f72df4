"""A course plan as its user reads it: the answer first, then what it rests on."""

from __future__ import annotations

from groundstation.cli.plan_picture import picture
from groundstation.cli.plan_words import BAND_CAVEAT, CAUTION, PASSES_YOU, Told
from groundstation.planning.grounds import GROUNDS
from groundstation.planning.plan import BETWEEN_BANDS_HZ, CLEAR_FRESNEL, Change, Gain, Place, Plan
from groundstation.planning.reach import Reach
from groundstation.rangecheck.record import CheckRecord
from groundstation.units import SpeedUnit
from groundstation.wording import filled, printable

NARROWEST, WIDEST = 80, 100
"""The tables need 80 columns; wider than 100 nobody reads a sentence."""
PICTURE_ROWS = 10


def print_plan(plan: Plan, told: Told, unit: SpeedUnit) -> None:
    """Print the plan as wide as the terminal."""
    from rich.console import Console
    from rich.text import Text

    console = Console()
    width = min(max(console.width, NARROWEST), WIDEST)
    verdict = verdict_text(plan)
    for line in plan_lines(plan, told, unit, width=width):
        bold = bool(line) and verdict.startswith(line.rstrip())
        console.print(Text(line, style="bold" if bold else ""), soft_wrap=True)


def plan_lines(plan: Plan, told: Told, unit: SpeedUnit, *, width: int) -> list[str]:
    """Return the plan as lines that are no wider than `width`.

    Args:
        plan: The plan.
        told: Where its figures are from.
        unit: Of the speed.
        width: In cells, at least `NARROWEST`.
    """
    blocks = [
        filled(CAUTION, width),
        filled(verdict_text(plan), width),
        _answers(plan, unit),
        _changes(plan, width),
        [_picture_title(plan), *picture(plan, width=width, rows=PICTURE_ROWS)],
        _table(plan),
        _fresnel(plan, width),
        _inputs(plan, told, unit, width),
    ]
    lines: list[str] = []
    for block in blocks:
        lines += ["", *block] if lines else block
    return lines


def verdict_text(plan: Plan) -> str:
    """Return the answer in a sentence or two."""
    worst, length = plan.worst, f"{plan.course.length_m:g} m"
    required = f"the required {plan.required_margin_db:g} dB"
    found = f"{worst.deciding_db:.1f} dB {_judged(plan)} {_where(worst)}"
    if plan.enough:
        bound_db = min(place.plane_earth_db for place in plan.places)
        text = f"FITS: {length} keep {required}; {found}."
        if plan.checked is None and bound_db < plan.required_margin_db:
            text += f" Were the ground a mirror, {bound_db:.1f} dB: let a range check decide."
        return text
    if plan.reach.longest_course_m is None:
        return f"NO COURSE keeps {required} at this speed from this place; with {length}, {found}."
    return f"TOO LONG: {length} do not keep {required}; {found}."


def _judged(plan: Plan) -> str:
    return "expected" if plan.checked is None else "(5 % are worse, by the range check)"


def _where(place: Place) -> str:
    named = {"start": "at the start", "far end": "at the far end", "stop point": "where it stops"}
    where = named.get(place.name, f"at {place.along_m:.0f} m")
    return f"{where}, {place.distance_m:.0f} m from you"


def _answers(plan: Plan, unit: SpeedUnit) -> list[str]:
    course, reach = plan.course, plan.reach
    speed = f"{unit.from_mps(course.speed_mps):.0f} {unit}"
    stopping = f"{course.overrun_m:.0f} m to stop from {speed} (19 of 20 stops)"
    rows = [
        ("longest course", f"{_longest(reach)}, and {stopping}"),
        ("lift by", _lift(plan)),
        ("margin reaches", f"{_reach(reach)} from you"),
    ]
    return [f"  {name:<16}{text}" for name, text in rows]


def _longest(reach: Reach) -> str:
    if reach.longest_course_m is None:
        return "none"
    if reach.unlimited:
        return f"over {1000 * int(reach.longest_course_m / 1000)} m"
    return f"{reach.longest_course_m:.0f} m"


def _reach(reach: Reach) -> str:
    if reach.reach_m is None:
        return "nowhere"
    return f"{'over ' if reach.unlimited else ''}{reach.reach_m:.0f} m"


def _lift(plan: Plan) -> str:
    lift_m, length_m = plan.reach.lift_at_m, plan.course.length_m
    if lift_m is None:
        return "no place: the car cannot stop where the margin is still kept"
    if lift_m >= length_m:
        return f"the far end, with {lift_m - length_m:.0f} m to spare"
    return f"{lift_m:.0f} m along the course, {length_m - lift_m:.0f} m before the far end"


def _picture_title(plan: Plan) -> str:
    line = "expected" if plan.checked is None else "checked, at 5 %"
    return f"  Margin dB: the line is {line}; dots are free space and plane earth"


def _table(plan: Plan) -> list[str]:
    heads = ["along", "from you", "free space", "expected", "plane earth"]
    widths = [8, 10, 12, 10, 13]
    if plan.checked is not None:
        heads, widths = [*heads, "checked", "5 %"], [7, 10, 11, 10, 12, 9, 6]
    places = list(plan.places)
    if plan.worst not in places:
        places = sorted([*places, plan.worst], key=lambda place: place.along_m)
    rows = [("", heads)]
    for place in places:
        figures = [f"{place.along_m:.0f} m", f"{place.distance_m:.0f} m"]
        margins_db = [place.free_space_db, place.two_ray_db, place.plane_earth_db]
        if place.checked_db is not None and place.checked_p05_db is not None:
            margins_db += [place.checked_db, place.checked_p05_db]
        figures += [f"{margin_db:.1f}" for margin_db in margins_db]
        rows.append((place.name or ("worst" if place == plan.worst else ""), figures))
    return [
        f"  {name:<11}"
        + "".join(f"{text:>{width}}" for text, width in zip(cells, widths, strict=True))
        for name, cells in rows
    ]


def _changes(plan: Plan, width: int) -> list[str]:
    heads = ("far end", "stop point", "reaches", "longest course")
    lines = [
        f"  {'what a change gains':<22}{heads[0]:>11}{heads[1]:>13}{heads[2]:>13}   {heads[3]}"
    ]
    for gain in plan.gains:
        name = {
            Change.MID_COURSE: "stand at mid-course",
            Change.RAISED: f"transmitter at {gain.radio.transmitter_height_m:.3g} m",
            Change.OTHER_BAND: f"{_band(gain.radio.frequency_hz)} instead",
        }[gain.change]
        gained = f"{gain.far_end_db:+.1f} dB", f"{gain.stop_db:+.1f} dB"
        # By how much "over 4000 m" is longer nobody knows.
        tells = gain.longer_m is not None and not gain.reach.unlimited
        more = f" ({gain.longer_m:+.0f} m)" if tells else ""
        cells = f"{gained[0]:>11}{gained[1]:>13}{_reach(gain.reach):>13}"
        lines.append(f"  {name:<22}{cells}   {_longest(gain.reach)}{more}")
    return lines + _indented(PASSES_YOU, width) + _indented(_band_caveat(plan.gains[-1]), width)


def _band_caveat(gain: Gain) -> str:
    frequency_hz = gain.radio.frequency_hz
    return f"{_band(frequency_hz)}: {BAND_CAVEAT[frequency_hz < BETWEEN_BANDS_HZ]}"


def _band(frequency_hz: float) -> str:
    if frequency_hz < 1e9:
        return f"{frequency_hz / 1e6:g} MHz"
    return f"{frequency_hz / 1e9:g} GHz"


def _fresnel(plan: Plan, width: int) -> list[str]:
    stop = plan.stop
    text = (
        f"First Fresnel zone: {100 * CLEAR_FRESNEL:.0f} % clear of the ground up to "
        f"{plan.fresnel_clear_to_m:.1f} m from you; where the car stops, "
        f"{100 * stop.fresnel_clearance:.0f} % of its radius of {stop.fresnel_radius_m:.1f} m. "
        f"From there, twice the distance costs {plan.doubling_db:.1f} dB."
    )
    return _indented(text, width)


def _inputs(plan: Plan, told: Told, unit: SpeedUnit, width: int) -> list[str]:
    course, radio, budget = plan.course, plan.radio, plan.radio.budget
    braking = course.braking
    ground = next(
        (name for name, known in GROUNDS.items() if known == radio.ground),
        f"permittivity {radio.ground.relative_permittivity:g}",
    )
    stands = f"at {course.stands_at_m:g} m"
    if course.driver_at_m is None:
        stands = "at mid-course"
    said = [
        (f"course {course.length_m:g} m", "length"),
        (f"driver {stands}", "driver_at"),
        (f"driver {course.driver_aside_m:g} m aside", "driver_aside"),
        (f"speed {unit.from_mps(course.speed_mps):.0f} {unit}", "speed"),
        (f"reaction {braking.react_s:g} s and {braking.latency_s:g} s to the brakes", "react"),
        (f"braking {braking.decel_mps2:g} m/s²", "decel"),
        (f"transmitter {radio.transmitter_height_m:g} m high", "transmitter_height"),
        (f"car's antenna {radio.car_height_m:g} m high", "car_height"),
        (f"{radio.frequency_hz / 1e6:g} MHz", "frequency"),
        (f"power {budget.transmit_power_dbm:g} dBm", "power"),
        (f"transmitter's antenna gain {budget.transmit_gain_dbi:g} dBi", "transmitter_gain"),
        (f"car's antenna gain {budget.receive_gain_dbi:g} dBi", "car_gain"),
        (f"losses {budget.other_losses_db:g} dB", "losses"),
        (f"threshold {budget.threshold_dbm:g} dBm", "threshold"),
        (f"ground {ground}", "ground"),
        (f"{radio.polarisation} polarisation", "polarisation"),
    ]
    given = ", ".join(text for text, name in said if name not in told.assumed)
    taken = ", ".join(text for text, name in said if name in told.assumed)
    whose = "" if told.vehicle is None else f" for {printable(told.vehicle)}"
    lines = _indented(f"Told{whose}: {given or 'nothing'}.", width)
    if taken:
        lines += _indented(f"Assumed (the options are in --help): {taken}.", width)
    return lines + _indented(_basis(plan, told.check), width)


def _basis(plan: Plan, check: CheckRecord | None) -> str:
    if plan.checked is None:
        return "No range check is behind this: flat ground, nothing in the way, antennas upright."
    prior = plan.checked.prior
    which = "a range check"
    if check is not None:
        which = f"the range check of {check.checked:%Y-%m-%d %H:%M} ({check.verdict})"
    return (
        f"Judged by {which}: {prior.level_at_1m_dbm:.1f} dBm at 1 m, exponent "
        f"{prior.exponent:.2f}, walked to {prior.reach_m:.0f} m. It is taken to have been made "
        "with these heights, power and antennas; they count only in what a change gains."
    )


def _indented(text: str, width: int) -> list[str]:
    return filled(text, width, first="  ", then="  ")
