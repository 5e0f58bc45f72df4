"""What to do next, in plain words: one or two short sentences for each moment of the walk."""

from __future__ import annotations

from groundstation.rangecheck.setting import HEADING_WORDS
from groundstation.rangecheck.walk import Phase, Walk


def walk_instruction(walk: Walk) -> str:
    """Return what to do with the car now."""
    words = HEADING_WORDS[walk.heading_deg]
    match walk.phase:
        case Phase.SETTLING:
            return f"Put the car down, {words}, and keep it still"
        case Phase.HOLDING:
            left_s = max(walk.setting.hold_s - walk.held_s, 0.0)
            return f"{words.capitalize()}: keep the car still, {left_s:.0f} s more"
        case Phase.TURNING:
            following = HEADING_WORDS[(walk.heading_deg + 90) % 360]
            return f"Turn the car a quarter turn to the left, {following}"
        case Phase.BETWEEN:
            unwalked = walk.setting.marks_m[len(walk.marks) :]
            if unwalked:
                return f"Carry the car to {unwalked[0]:g} m and put it down, {HEADING_WORDS[0]}"
            if walk.planned_done:
                return "All marks are walked: finish"
            return "Carry the car to a mark, tell its distance, and put it down; or finish"
