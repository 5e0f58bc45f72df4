"""The plain words by which a check is led: said by keys, by a script, or line by line on a pipe.

    sensors | failsafe | walk    go to that step
    next                         go on to the next step
    off, on                      the transmitter has been switched off, on again
    mark 25                      the car lies 25 m from the driver: measure there
    mark                         the same where the car's fix says it is
    heading                      the car has been turned a quarter to the left
    repeat walk                  do that step again; what it measured is forgotten
    verdict                      judge what was measured

Rule: words that nobody understands change nothing, and the answer says what is understood.
"""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from typing import TYPE_CHECKING

from groundstation.rangecheck.view import Step

if TYPE_CHECKING:
    from groundstation.rangecheck.check import RangeCheck

VOCABULARY = (
    "off, on, mark METRES, mark (by the fix), heading, next, verdict, "
    "sensors, failsafe, walk, repeat STEP"
)

_STEPS = {step.value: step for step in Step}


def understands(words: str) -> bool:
    """Return whether the words say something."""
    return _meaning(words) is not None


def obey(check: RangeCheck, words: str) -> str:
    """Do what the words say; return the answer, one plain sentence."""
    meaning = _meaning(words)
    if meaning is None:
        return f"not understood; say one of: {VOCABULARY}"
    return meaning(check)


def _meaning(words: str) -> Callable[[RangeCheck], str] | None:
    match words.lower().split():
        case ["off"]:
            return lambda check: check.transmitter_is_off()
        case ["on"]:
            return lambda check: check.transmitter_is_on()
        case ["heading"]:
            return lambda check: check.next_heading()
        case ["next"]:
            return lambda check: check.next_step()
        case ["verdict"]:
            return lambda check: check.go_to(Step.VERDICT)
        case ["mark"]:
            return lambda check: check.mark_by_fix()
        case ["mark", text]:
            distance_m = _metres(text)
            return None if distance_m is None else lambda check: check.mark_typed(distance_m)
        case ["repeat", name] if name in _STEPS and name != Step.VERDICT:
            return lambda check: check.repeat(_STEPS[name])
        case [name] if name in _STEPS:
            return lambda check: check.go_to(_STEPS[name])
        case _:
            return None


def _metres(text: str) -> float | None:
    try:
        distance_m = float(text.removesuffix("m"))
    except ValueError:
        return None
    return distance_m if isfinite(distance_m) and distance_m > 0.0 else None
