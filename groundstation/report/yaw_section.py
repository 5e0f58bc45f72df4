"""The yaw: how the car swings at each speed, and whether the stabiliser damps or feeds it."""

from __future__ import annotations

from groundstation.analysis.even import before_spin_s
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats
from groundstation.analysis.session import PassAnalysis
from groundstation.analysis.stabiliser import Verdict
from groundstation.analysis.steering import SteeringLimit
from groundstation.analysis.yaw import YawBand
from groundstation.report.envelope import shortened
from groundstation.report.markup import Child, Markup, joined, table, tag
from groundstation.report.plots import Plot, Series
from groundstation.report.section import Section, missing, section
from groundstation.report.words import UNKNOWN, Telling, number

MOST_PASSES = 6
"""Whose bands are shown at once."""

_MOST = 6000


def yaw_section(telling: Telling) -> Section:
    """Return the part about yaw, with the steering schedule where it was asked for."""
    analysis = telling.analysis
    why_not = analysis.why_not("yaw")
    if why_not:
        return section("Yaw", missing(why_not), _schedule(telling), key="yaw")
    return section(
        "Yaw",
        tag(
            "p",
            "The oscillation of car and stabiliser together, by speed. A damping ratio of 1 "
            "returns without swinging, 0 swings for ever, below 0 the swing grows.",
        ),
        _bands(telling),
        _verdicts(telling),
        *_fastest(telling),
        _schedule(telling),
        key="yaw",
    )


def _bands(telling: Telling) -> Markup | None:
    passes = telling.analysis.passes
    fastest = sorted(passes, key=_slowness)[:MOST_PASSES]
    rows: list[list[Child]] = []
    more: list[list[Child]] = []
    reasons = []
    for one in passes:
        if one.yaw.reason:
            reasons.append(tag("p", f"Pass {one.span.number}: {one.yaw.reason}.", class_="missing"))
        side = rows if one in fastest else more
        side += [_row(telling, one.span, band) for band in one.yaw.bands]
    unit = telling.unit
    heads = ["pass", f"at {unit}", "rms, deg/s", "largest, deg/s", "swings, Hz", "damping ratio"]
    heads += ["from/to (95 %)", "stabiliser"]
    return joined(
        table(heads, rows) if rows else None,
        tag("details", tag("summary", "The slower passes"), table(heads, more)) if more else None,
        *reasons,
    )


def _slowness(one: PassAnalysis) -> float:
    return 0.0 if one.speed is None else -one.speed.peak.speed_mps


def _row(telling: Telling, span: PassSpan, band: YawBand) -> list[Child]:
    interval = UNKNOWN
    if band.damping_low is not None and band.damping_high is not None:
        interval = f"{number(band.damping_low, 2)} to {number(band.damping_high, 2)}"
    return [
        f"{span.number}",
        _speeds(telling, band),
        number(band.rms_dps),
        number(band.peak_dps, 0),
        number(band.mode_hz if band.mode_hz is not None else band.spectrum_hz),
        tag("strong", number(band.damping_ratio, 2)),
        interval,
        _verdict(band),
    ]


def _verdict(band: YawBand) -> Child:
    if band.response is None:
        return UNKNOWN
    verdict = band.response.verdict
    return tag("strong", verdict) if verdict is Verdict.FEEDS else str(verdict)


def _speeds(telling: Telling, band: YawBand) -> str:
    return f"{telling.speed(band.from_mps, 0)} to {telling.speed(band.to_mps, 0)}"


def _verdicts(telling: Telling) -> Markup | None:
    """Return why there is no damping ratio or no verdict, each reason once."""
    reasons: dict[str, None] = {}
    for one in telling.analysis.passes:
        for band in one.yaw.bands:
            at = f"{_speeds(telling, band)} {telling.unit}"
            if band.damping_ratio is None and band.damping_reason:
                reasons[f"No damping ratio in pass {one.span.number}: {band.damping_reason}."] = (
                    None
                )
            if band.response is not None:
                reasons[
                    f"Pass {one.span.number}, {at}: the correction {band.response.verdict}"
                    f" ({band.response.reason})."
                ] = None
    if not reasons:
        return None
    return tag(
        "details",
        tag("summary", "How the stabiliser was judged, band by band"),
        tag("ul", *(tag("li", each) for each in reasons)),
    )


def _fastest(telling: Telling) -> list[Plot]:
    fastest = telling.analysis.fastest or next(iter(telling.analysis.passes), None)
    if fastest is None:
        return []
    record, span, found = telling.analysis.record, fastest.span, []
    # A car that spins or rolls turns so fast that everything before it would be a flat line.
    end_s = before_spin_s(record, span)
    how = "the fastest" if end_s == span.end_s else "up to where it spun"
    motion = record.motion.between(span.start_s, end_s)
    steering = [
        Series("driver", *_cut(motion.t_s, motion["steering_percent"], span), "quiet", "line"),
        Series(
            "stabiliser", *_cut(motion.t_s, motion["correction_percent"], span), "yaw", "dashed"
        ),
    ]
    turning = [Series("yaw rate", *_cut(motion.t_s, motion["yaw_rate_dps"], span), "yaw")]
    for key, name, series in (
        ("yaw-plot", "yaw rate, deg/s (left is positive)", turning),
        ("steering-plot", "steering, % (left is positive)", steering),
    ):
        there = [each for each in series if len(each.x) > 1]
        if there:
            found.append(
                Plot(
                    key=key,
                    told=f"in pass {span.number}, {how}",
                    x_name="since the pass began, s",
                    y_name=name,
                    series=there,
                    joined="yaw",
                    height=180,
                )
            )
    return found


def _cut(t_s: Floats, values: Floats, span: PassSpan) -> tuple[Floats, Floats]:
    x, y = shortened(t_s, values, [], most=_MOST)
    return x - span.start_s, y


def _schedule(telling: Telling) -> Markup | None:
    limits, asked = telling.analysis.steering, telling.analysis.questions.steering
    if not limits or asked is None:
        return None
    unit = telling.unit
    heads = [str(unit), "steering at most, %", "wheel angle, deg", "yaw rate, deg/s", "radius, m"]
    return joined(
        tag("h3", "Steering schedule for the firmware"),
        tag(
            "p",
            f"The steering that gives {asked.lateral_g:g} g to the side in a steady turn: "
            f"wheelbase {asked.wheelbase_m:g} m, {asked.lock_deg:g} deg of wheel angle at 100 %, a "
            "car that neither understeers nor oversteers (bicycle model).",
        ),
        table(heads, [_limit(telling, each) for each in limits]),
    )


def _limit(telling: Telling, limit: SteeringLimit) -> list[Child]:
    return [
        telling.speed(limit.speed_mps, 0),
        tag("strong", number(limit.steering_percent)),
        number(limit.wheel_deg, 2),
        number(limit.yaw_rate_dps, 0),
        number(limit.radius_m, 0),
    ]
