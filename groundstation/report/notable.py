"""What was out of the ordinary in a session that nobody needs to search for: one sentence each."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.analysis.session import PassAnalysis
from groundstation.analysis.stabiliser import Verdict
from groundstation.analysis.yaw import YawBand
from groundstation.report.words import Telling, number, place, shock_short

MOST_NUMBERS = 6
"""Passes named one by one."""

HARDLY_DAMPED = 0.1
"""Less: a swing takes more than seven periods to fall to a hundredth (common practice, no source).
"""


def notable(telling: Telling) -> list[str]:
    """Return the sentences, without their full stops; empty where all was ordinary."""
    found = [
        *_silent(telling),
        *_thin(telling),
        *_swinging(telling),
        *_clipped(telling),
    ]
    events = telling.sheet.events
    for level in ("LIFT", "LOST"):
        times = sum(each.kind == "level" and each.text.startswith(level) for each in events)
        if times:
            found.append(f"{level} was called {_times(times)}")
    reboots = sum(each.kind == "reboot" for each in events)
    if reboots:
        found.append(f"the car was switched off and on {_times(reboots)}")
    if telling.sheet.ended_cleanly is False:
        found.append("the recording was not closed: the program was stopped or killed")
    return found


def _silent(telling: Telling) -> list[str]:
    if telling.analysis.incident is not None:
        return []
    silent = [one for one in telling.analysis.passes if one.span.ended_in_silence]
    return (
        [f"{_in(silent)} the telemetry fell silent before the car had slowed down"]
        if silent
        else []
    )


def _thin(telling: Telling) -> list[str]:
    required_db = telling.analysis.record.profile.limits.required_margin_db
    thin = [
        (one.lowest, one)
        for one in telling.analysis.passes
        if one.lowest is not None and one.lowest.margin_db < required_db
    ]
    if not thin:
        return []
    lowest, worst = min(thin, key=lambda each: each[0].margin_db)
    return [
        f"{_in([one for _, one in thin])} the margin was under the required {required_db:g} dB: "
        f"down to {number(lowest.margin_db)} dB at {place(lowest.along_m)}"
        f"{_of(worst, thin)}"
    ]


def _swinging(telling: Telling) -> list[str]:
    found = []
    for feeding, what in (
        (True, "the stabiliser feeds the swing"),
        (False, "the swing is hardly damped"),
    ):
        bad = [
            (band, one)
            for one in telling.analysis.passes
            for band in one.yaw.bands
            if (_feeds(band) if feeding else _hardly_damped(band) and not _feeds(band))
        ]
        if not bad:
            continue
        low = telling.speed(min(band.from_mps for band, _ in bad), 0)
        high = telling.speed(max(band.to_mps for band, _ in bad), 0)
        ratios = [band.damping_ratio for band, _ in bad if band.damping_ratio is not None]
        least = f", damping ratio down to {number(min(ratios), 2)}" if ratios else ""
        found.append(
            f"{_in([one for _, one in bad])} {what} between {low} and {high} {telling.unit}{least}"
        )
    return found


def _feeds(band: YawBand) -> bool:
    return band.response is not None and band.response.verdict is Verdict.FEEDS


def _hardly_damped(band: YawBand) -> bool:
    return band.damping_ratio is not None and band.damping_ratio < HARDLY_DAMPED


def _clipped(telling: Telling) -> list[str]:
    clipped = [
        (one.hardest, one)
        for one in telling.analysis.passes
        if one.hardest is not None and one.hardest.clipped
    ]
    if not clipped:
        return []
    hardest, worst = max(clipped, key=lambda each: each[0].size_g)
    return [
        f"{_in([one for _, one in clipped])} a shock went beyond the accelerometer: "
        f"{shock_short(hardest)} at {place(hardest.along_m)}{_of(worst, clipped)}"
    ]


def _in(passes: Sequence[PassAnalysis]) -> str:
    """Return in which passes, as the beginning of a sentence."""
    numbers = sorted({one.span.number for one in passes})
    if len(numbers) == 1:
        return f"in pass {numbers[0]}"
    if len(numbers) > MOST_NUMBERS:
        return f"in {len(numbers)} passes"
    return f"in passes {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _of(worst: PassAnalysis, among: Sequence[object]) -> str:
    return f" in pass {worst.span.number}" if len(among) > 1 else ""


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
