"""What this program is not, and what comes before it: one wording for every place that says it.

Rule: help, screens, plan, check and report take their sentences from here; none writes its own.
"""

from __future__ import annotations

ADVICE = "Advice only, no safety device: the transmitter's own alarms and the failsafe come first."
COURSE = "Closed course, with nobody in line with it or in reach of a car gone astray."
FAILSAFE = "Failsafe to throttle off and brake, proven before the day's first run."
PACKS = "Charge and carry packs as their makers say."
LAW = "Radio power, bands and road use follow local law."
DOUBT = "When in doubt, do not run."

CAUTION = f"{ADVICE} {COURSE} {DOUBT}"
"""Where there is room for three sentences."""

ON_SCREEN = "Advice only: the transmitter's own alarms and the failsafe come first."
BESIDE_A_TITLE = "advice only: transmitter alarms and failsafe come first"

PROOF = "Car held up, driven wheels free, nobody in reach of them."
CARRIED = "Course closed; nobody touches the throttle while the car is carried."
