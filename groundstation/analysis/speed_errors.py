"""How wrong the sensors of a recording are, as its own data tell.

Owns the choice. A receiver's word on its accuracy is taken for what to expect, and corrected by
what makes the data of the passes most likely (maximum of the marginal likelihood times what is
expected beforehand; any text on Gaussian processes). A drift slower than a pass hardly shows in
it, so a receiver is never believed to drift much less than it says.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from groundstation.analysis.speed_channels import SpeedChannels
from groundstation.analysis.speed_fusion import Fusion, SensorErrors

MOST_VOTERS = 6
"""Passes that are asked, at most."""

LEAST_FIXES = 12
"""A pass with fewer has no vote."""

LADDERS = {
    "noise_share": (0.2, 0.3, 0.45, 0.65, 1.0),
    "drift_share": (0.45, 0.6, 0.8, 1.1),
    "bias_wander": (0.02, 0.05, 0.15, 0.4),
}


def chosen_errors(passes: list[SpeedChannels], delay_s: float) -> SensorErrors:
    """Return the sensors' errors under which the passes' data are most likely.

    One error after the other is moved along a short ladder, twice round; passes whose satellite
    speed has nothing to be compared with have no vote.
    """
    voters = [each for each in passes if each.has_accel and len(each.fix_t_s) >= LEAST_FIXES][
        :MOST_VOTERS
    ]
    errors = SensorErrors(delay_s=delay_s)
    if not voters:
        return errors
    judged = [Fusion(each, errors) for each in voters]
    found: dict[SensorErrors, float] = {}

    def likelihood(tried: SensorErrors) -> float:
        if tried not in found:
            votes = [Fusion(each.channels, tried, like=each).solution.evidence for each in judged]
            found[tried] = sum(votes) + _expected(tried)
        return found[tried]

    for _ in range(2):
        for name, ladder in LADDERS.items():
            tries = [replace(errors, **{name: step}) for step in ladder]
            errors = max(tries, key=likelihood)
    return errors


def _expected(errors: SensorErrors) -> float:
    """Return how likely errors are beforehand: an accuracy told means about what it says."""
    noise = np.log(errors.noise_share / 0.5) / 0.5
    drift = np.log(errors.drift_share / 0.6) / 0.25
    wander = np.log(errors.bias_wander / 0.05) / 1.2
    return float(-0.5 * (noise**2 + drift**2 + wander**2))
