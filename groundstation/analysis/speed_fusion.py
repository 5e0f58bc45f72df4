"""Satellite, wheel and accelerometer made into one curve of speed, with its error.

Owns what each witness is taken to get wrong:

- satellite speed: a little noise, a drift over seconds, now and then a spike; its delay is known;
- wheel speed: noise, and a factor (tyre size, slip) that moves with time and jumps with the force;
- acceleration: a bias (the sensor's, pitch, slope of the road) that wanders, a scale.

The unknowns stand at nodes in time, straight lines between. The curve is the summed acceleration
plus a slow difference; without an accelerometer the difference is the speed itself and its
"bias" the acceleration, which then may be anything a car does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats
from groundstation.analysis.smoother import Chain, Smoothed
from groundstation.analysis.speed_channels import SpeedChannels
from groundstation.analysis.speed_spikes import SPIKE_LEAST_MPS, lone_fixes
from groundstation.analysis.speed_wheel import calmed, wheel_noise_mps

DIFFERENCE, BIAS, SCALE, DRIFT, SLIP = range(5)
UNKNOWNS = 5

NODE_S = 0.05
BARE_NODE_S = 0.025
"""Between nodes, with an accelerometer and without."""

MOST_NODES = 6000

DRIFT_S = 4.0
"""Over which a receiver's speed error keeps its sign (common practice, no source)."""

SUM_NOISE = 0.012
"""Of the summed acceleration, m/s per root second: a small sensor's noise."""

BIAS_MPS2 = 0.5
"""Of the bias at the start, one sigma: three degrees of mounting, slope and pitch."""

SCALE_SHARE = 0.015
"""Of the accelerometer's scale, one sigma; squat under throttle and brake looks the same."""

BARE_ACCEL_MPS2 = 12.0
BARE_JERK = 3.0
"""Of the acceleration where nothing measures it: at the start, and per root second; on top
comes what the speed's own bends show."""

SLIP_SHARE = 0.05
"""Of the wheel's factor at the start of a pass, one sigma."""

SLIP_WANDER = 0.01
"""Of its change, per root second."""

SLIP_PER_MPS2 = 0.008
"""Of its change, per change of acceleration: tyres slip in proportion to force below their grip
(linear part of any tyre curve; 6 % at a grip of 0.85 g)."""

WHEEL_FAR = 3.0
"""Residual over sigma from which a wheel speed loses its weight: spinning or locked."""

FIRST_WHEEL_SHARE = 1e-4
TURNS = 4
"""Of weighing anew."""

STANDING_MPS = 0.5
STANDING_SIGMA_MPS = 0.2
"""A satellite speed below it is a length of a noise vector, never negative."""

SPIKE_SIGMAS = 6.0
"""A satellite speed further off the curve than this, and than `SPIKE_LEAST_MPS`, is a spike."""


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """How wrong the sensors of a recording are."""

    delay_s: float = 0.0
    """Satellite speeds are true this long before their stamp."""
    noise_share: float = 0.5
    drift_share: float = 0.6
    """Of the accuracy that the receiver tells: what is noise, what drifts."""
    bias_wander: float = 0.05
    """Of the acceleration's bias, m/s^2 per root second."""


class Fusion:
    """One pass, fused."""

    def __init__(
        self, channels: SpeedChannels, errors: SensorErrors, *, like: Fusion | None = None
    ) -> None:
        """Fuse; a fix that turns out to be a spike is left out.

        Args:
            channels: Of the pass.
            errors: Of the sensors.
            like: The same channels fused under errors of the same delay: what it left out or made
                light of is not judged again.
        """
        self.channels = channels
        self.errors = errors
        first_s, last_s = float(channels.t_s[0]), float(channels.t_s[-1])
        spacing_s = NODE_S if channels.has_accel else BARE_NODE_S
        count = min(max(int(np.ceil((last_s - first_s) / spacing_s)), 1), MOST_NODES)
        self._nodes_s = np.linspace(first_s, last_s, count + 1)
        self._step_s = (last_s - first_s) / count
        true_s = channels.fix_t_s - errors.delay_s
        inside = (true_s >= first_s) & (true_s <= last_s)
        self.fix_rows = np.flatnonzero(inside)
        """Rows of the channels' fixes that lie on the curve."""
        self.fix_true_s = true_s[inside]
        self.kept = ~lone_fixes(channels, self.fix_true_s, channels.fix_mps[inside])
        """Of those, the ones that are no spikes."""
        self._wheel = np.flatnonzero(~np.isnan(channels.wheel_mps))
        self._wheel_sigma_mps = wheel_noise_mps(channels.wheel_mps)
        self._wheel_calm_mps = calmed(channels.t_s, channels.wheel_mps)
        if like is None:
            self._share, self.solution = self._judged()
        else:
            self.kept, self._share = like.kept, like._share
            self.solution = self._with_witnesses(self._links(), self._share)

    def difference(self, t_s: Floats) -> tuple[NDArray[np.intp], Floats]:
        """Return node and weights by which the slow difference at times is asked for."""
        place = (t_s - self._nodes_s[0]) / self._step_s
        node = np.clip(place.astype(np.intp), 0, len(self._nodes_s) - 2)
        share = np.clip(place - node, 0.0, 1.0)
        weights = np.zeros((len(t_s), 2 * UNKNOWNS))
        weights[:, DIFFERENCE] = 1.0 - share
        weights[:, UNKNOWNS + DIFFERENCE] = share
        return node, weights

    def summed_mps(self, t_s: Floats) -> Floats:
        """Return the summed acceleration at times."""
        summed: Floats = np.interp(t_s, self.channels.t_s, self.channels.summed_mps)
        return summed

    def speed_mps(self, t_s: Floats) -> Floats:
        """Return the curve."""
        differences = self.solution.estimate[:, DIFFERENCE]
        speed: Floats = self.summed_mps(t_s) + np.interp(t_s, self._nodes_s, differences)
        return speed

    def sigma_mps(self, t_s: Floats) -> Floats:
        """Return the curve's standard deviation."""
        return self.solution.sigmas(*self.difference(t_s))

    def covariance(self, t_s: Floats) -> Floats:
        """Return the covariance of the curve at times, (m, m)."""
        return self.solution.covariance(*self.difference(t_s))

    def _judged(self) -> tuple[Floats, Smoothed]:
        """Return the weights of the wheel's readings and the solution; sets spikes aside."""
        wheel = self._wheel
        # A wheel that spins or locks is seen by a curve that it has not bent: where there are
        # others to go by it has little say at first.
        others = self.channels.has_accel or len(self.fix_rows) >= 5
        share = np.full(len(wheel), FIRST_WHEEL_SHARE if others else 1.0)
        base = self._links()
        solution = self._with_witnesses(base, share)
        for turn in range(TURNS):
            changed = turn > 0 and self._drop_spikes(solution)
            if len(wheel):
                left = np.abs(self._wheel_left(solution)) / self._wheel_sigma_mps
                fresh = np.where(left <= WHEEL_FAR, 1.0, (WHEEL_FAR / np.maximum(left, 1.0)) ** 4)
                changed |= bool(np.any(np.abs(fresh - share) > 0.1))
                share = fresh
            if changed:
                solution = self._with_witnesses(base, share)
            elif turn > 0:
                break
        return share, solution

    def _drop_spikes(self, solution: Smoothed) -> bool:
        channels, rows = self.channels, self.fix_rows
        if not len(rows):
            return False
        node, weights = self.difference(self.fix_true_s)
        weights = self._with_drift(weights)
        flat = solution.estimate.ravel()
        at = node[:, None] * UNKNOWNS + np.arange(2 * UNKNOWNS)
        expected = self.summed_mps(self.fix_true_s) + np.sum(flat[at] * weights, axis=1)
        off = np.abs(channels.fix_mps[rows] - expected)
        kept = off <= np.maximum(SPIKE_SIGMAS * channels.fix_accuracy_mps[rows], SPIKE_LEAST_MPS)
        if not channels.has_accel and not channels.has_wheel:
            kept &= self.kept
        changed = bool(np.any(kept != self.kept))
        self.kept = kept
        return changed

    def _wheel_left(self, solution: Smoothed) -> Floats:
        wheel = self._wheel
        t_s, wheel_mps = self.channels.t_s[wheel], self.channels.wheel_mps[wheel]
        slips = np.interp(t_s, self._nodes_s, solution.estimate[:, SLIP])
        differences = np.interp(t_s, self._nodes_s, solution.estimate[:, DIFFERENCE])
        left: Floats = wheel_mps - self._wheel_calm_mps[wheel] * slips
        left -= self.channels.summed_mps[wheel] + differences
        return left

    def _with_drift(self, weights: Floats) -> Floats:
        weights = weights.copy()
        weights[:, DRIFT] = weights[:, DIFFERENCE]
        weights[:, UNKNOWNS + DRIFT] = weights[:, UNKNOWNS + DIFFERENCE]
        return weights

    def _with_witnesses(self, base: Chain, share: Floats) -> Smoothed:
        channels, wheel = self.channels, self._wheel
        chain = base.copy()
        if np.any(self.kept):
            rows = self.fix_rows[self.kept]
            true_s = self.fix_true_s[self.kept]
            node, weights = self.difference(true_s)
            fix_mps = channels.fix_mps[rows]
            sigmas = self.errors.noise_share * channels.fix_accuracy_mps[rows]
            sigmas = np.where(fix_mps < STANDING_MPS, np.hypot(sigmas, STANDING_SIGMA_MPS), sigmas)
            aims = fix_mps - self.summed_mps(true_s)
            chain.add(node, self._with_drift(weights), aims, sigmas)
        if len(wheel):
            node, weights = self.difference(channels.t_s[wheel])
            # What slips is the calmed speed: were it each noisy reading, the fit could make its
            # noise smaller by making all speeds smaller.
            calm_mps = self._wheel_calm_mps[wheel]
            for side in (0, UNKNOWNS):
                weights[:, side + SLIP] = weights[:, side + DIFFERENCE] * calm_mps
            sigmas = self._wheel_sigma_mps / np.sqrt(share)
            aims = channels.wheel_mps[wheel] - channels.summed_mps[wheel]
            chain.add(node, weights, aims, sigmas)
        return chain.solve()

    def _links(self) -> Chain:
        channels, errors, step_s = self.channels, self.errors, self._step_s
        nodes_s = self._nodes_s
        count = len(nodes_s) - 1
        chain = Chain(count + 1, UNKNOWNS)
        node = np.arange(count)
        doubts = np.diff(np.interp(nodes_s, channels.t_s, np.cumsum(channels.doubt_mps2)))
        sum_noise = np.sqrt(SUM_NOISE**2 * step_s + doubts)
        rises = np.diff(self.summed_mps(nodes_s))
        if channels.has_accel:
            start_mps2, wander = BIAS_MPS2, errors.bias_wander
        else:
            start_mps2, wander = BARE_ACCEL_MPS2, BARE_JERK
        jolts = self._jolts(rises)
        link = np.zeros((count, 2 * UNKNOWNS))
        link[:, DIFFERENCE] = -1.0
        link[:, UNKNOWNS + DIFFERENCE] = 1.0
        link[:, BIAS] = link[:, UNKNOWNS + BIAS] = 0.5 * step_s
        link[:, SCALE] = rises
        chain.add(node, link, 0.0, sum_noise)
        bias_steps = np.full(count, wander * np.sqrt(step_s))
        if not channels.has_accel:
            bias_steps = np.hypot(bias_steps, 1.5 * jolts)
        self._walk(chain, BIAS, bias_steps)
        self._walk(chain, SCALE, np.full(count, 1e-5))
        slip_steps = np.hypot(SLIP_WANDER * np.sqrt(step_s), SLIP_PER_MPS2 * jolts)
        self._walk(chain, SLIP, slip_steps)
        accuracy_mps = float(np.median(channels.fix_accuracy_mps)) if len(self.fix_rows) else 1.0
        drift_mps = max(errors.drift_share * accuracy_mps, 1e-3)
        keep = float(np.exp(-step_s / DRIFT_S))
        fresh_mps = drift_mps * np.sqrt(1.0 - keep * keep)
        self._walk(chain, DRIFT, np.full(count, fresh_mps), keep)
        for unknown, sigma in (
            (DIFFERENCE, 100.0),
            (BIAS, start_mps2),
            (SCALE, SCALE_SHARE),
            (DRIFT, drift_mps),
            (SLIP, SLIP_SHARE),
        ):
            start = np.zeros((1, 2 * UNKNOWNS))
            start[:, unknown] = 1.0
            chain.add(node[:1], start, 0.0, np.array([sigma]))
        return chain

    def _jolts(self, rises: Floats) -> Floats:
        """Return how much the acceleration changes from node to node.

        Without an accelerometer it is read off the wheel, else off the fixes, over a while longer
        than their noise; a change that may have come at once anywhere in it is spread so that
        the squares of its parts add up to its own.
        """
        channels = self.channels
        if channels.has_accel:
            accel_mps2 = rises / self._step_s
            jolts: Floats = np.abs(np.diff(accel_mps2, prepend=accel_mps2[:1]))
            return jolts
        half_s = 0.1
        if channels.has_wheel:
            known = ~np.isnan(channels.wheel_mps)
            t_s, own_mps = channels.t_s[known], self._wheel_calm_mps[known]
        else:
            t_s, own_mps = self.fix_true_s[self.kept], channels.fix_mps[self.fix_rows[self.kept]]
            if len(t_s) < 3:
                return np.full(len(rises), BARE_ACCEL_MPS2)
            half_s = max(half_s, float(np.median(np.diff(t_s))))
        at_s = self._nodes_s[1:]
        before, at, after = (
            np.interp(at_s + aside_s, t_s, own_mps) for aside_s in (-2 * half_s, 0.0, 2 * half_s)
        )
        changes = np.abs(before - 2.0 * at + after) / (2.0 * half_s)
        spread: Floats = changes * np.sqrt(self._step_s / (2.0 * half_s))
        return spread

    def _walk(self, chain: Chain, unknown: int, sigmas: Floats, keep: float = 1.0) -> None:
        link = np.zeros((len(sigmas), 2 * UNKNOWNS))
        link[:, unknown] = -keep
        link[:, UNKNOWNS + unknown] = 1.0
        chain.add(np.arange(len(sigmas)), link, 0.0, sigmas)
