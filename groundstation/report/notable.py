"""What was out of the ordinary in a session that nobody needs to search for: one sentence each."""

from __future__ import annotations

from groundstation.analysis.session import PassAnalysis
from groundstation.analysis.stabiliser import Verdict
from groundstation.report.words import Telling, number, place, shock_short

HARDLY_DAMPED = 0.1
"""Less: a swing takes more than seven periods to fall to a hundredth (common practice, no source).
"""


def notable(telling: Telling) -> list[str]:
    """Return the sentences, without their full stops; empty where all was ordinary."""
    analysis = telling.analysis
    limits = analysis.record.profile.limits
    found = []
    for one in analysis.passes:
        name = f"pass {one.span.number}"
        if one.span.ended_in_silence and analysis.incident is None:
            found.append(f"{name} ended in silence of the telemetry")
        if one.lowest is not None and one.lowest.margin_db < limits.required_margin_db:
            found.append(
                f"{name}: margin down to {number(one.lowest.margin_db)} dB at "
                f"{place(one.lowest.along_m)}, under the required {limits.required_margin_db:g} dB"
            )
        found += _swinging(telling, one, name)
        hardest = one.hardest
        if hardest is not None and hardest.clipped:
            found.append(
                f"{name}: a shock of {shock_short(hardest)} at {place(hardest.along_m)}, clipped"
            )
    losses = [each for each in telling.sheet.events if each.kind == "level"]
    for level in ("LIFT", "LOST"):
        times = sum(each.text.startswith(level) for each in losses)
        if times:
            found.append(f"{level} was called {_times(times)}")
    reboots = sum(each.kind == "reboot" for each in telling.sheet.events)
    if reboots:
        found.append(f"the car was switched off and on {_times(reboots)}")
    if telling.sheet.ended_cleanly is False:
        found.append("the recording was not closed: the program was stopped or killed")
    return found


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _swinging(telling: Telling, one: PassAnalysis, name: str) -> list[str]:
    bad = [
        band
        for band in one.yaw.bands
        if (band.response is not None and band.response.verdict is Verdict.FEEDS)
        or (band.damping_ratio is not None and band.damping_ratio < HARDLY_DAMPED)
    ]
    if not bad:
        return []
    low, high = telling.speed(bad[0].from_mps, 0), telling.speed(bad[-1].to_mps, 0)
    feeds = any(b.response is not None and b.response.verdict is Verdict.FEEDS for b in bad)
    ratios = [band.damping_ratio for band in bad if band.damping_ratio is not None]
    what = "the stabiliser feeds the swing" if feeds else "the swing is hardly damped"
    least = f", damping ratio down to {number(min(ratios), 2)}" if ratios else ""
    return [f"{name}: {what} between {low} and {high} {telling.unit}{least}"]
