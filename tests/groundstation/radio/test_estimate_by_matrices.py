"""The estimate against the same model written out with matrices, and integrals done by quadrature.

The Kalman filter is the textbook's (x, P, F, Q, H), the bound's moments are sums over a grid, and
the way the exponent wanders is followed in small steps.
"""

from __future__ import annotations

from collections.abc import Callable
from math import erfc, exp, log10, pi, sqrt

import numpy as np
import numpy.typing as npt
import pytest

from groundstation.radio import estimate as model
from groundstation.radio import hypothesis as law
from groundstation.radio.estimate import LinkEstimate, LinkPrior

Matrix = npt.NDArray[np.float64]

PRIOR = LinkPrior(
    level_at_1m_dbm=-12.0,
    exponent=3.6,
    level_variance_db2=1.5,
    exponent_variance=0.03,
    covariance_db=0.11,
    reach_m=90.0,
)


def decades(distance_m: float) -> float:
    return 10.0 * log10(max(distance_m, 3.0) / 10.0)


class Reference:
    """Level at 10 m, exponent and shadow, once for each strength of the shadows."""

    def __init__(self) -> None:
        self.sigmas_db = list(model.SHADOW_SIGMAS_DB)
        self.weights = np.array(model.SHADOW_WEIGHTS)
        start = np.array([law.UNKNOWN_LEVEL_DBM, law.NEAR_EXPONENT, 0.0])
        spread = [law.UNKNOWN_LEVEL_SIGMA_DB**2, law.NEAR_EXPONENT_SIGMA**2]
        self.states: list[Matrix] = [start.copy() for _ in self.sigmas_db]
        self.covariances: list[Matrix] = [np.diag([*spread, s**2]) for s in self.sigmas_db]
        self.place: float | None = None
        self.distance_m = 0.0
        self.measured = -100.0

    def begin(self, prior: LinkPrior, day_db: float) -> None:
        """The check tells the level at 1 m, which is 10 decades nearer than the reference."""
        there = np.array([[1.0, -10.0], [0.0, 1.0]])
        told = np.array(
            [
                [prior.level_variance_db2, prior.covariance_db],
                [prior.covariance_db, prior.exponent_variance],
            ]
        )
        state = there @ np.array([prior.level_at_1m_dbm, prior.exponent])
        covariance = there @ told @ there.T + np.diag([day_db**2, 0.0])
        for each, held in zip(self.states, self.covariances, strict=True):
            each[:2], held[:2, :2] = state, covariance
        self.measured = decades(0.3 * prior.reach_m)

    def move(self, distance_m: float, travelled_m: float) -> None:
        place = decades(distance_m)
        before = place if self.place is None else self.place
        if place < before:
            self.measured = max(self.measured, before)
        begun = max(before, self.measured)
        forgot = exp(-law.EXPONENT_FORGETS * max(place - begun, 0.0))
        keep = exp(-travelled_m / model.SHADOW_DISTANCE_M)
        # The level where the car is stays: what the exponent loses, the reference level makes up.
        turn = np.array([[1.0, place * (forgot - 1.0), 0.0], [0.0, forgot, 0.0], [0.0, 0.0, keep]])
        pull = law.FAR_EXPONENT * (1.0 - forgot) * np.array([place, 1.0, 0.0])
        fresh = (1.0 - forgot**2) * law.EXPONENT_SIGMA**2 * np.outer([place, 1, 0], [place, 1, 0])
        for index, sigma_db in enumerate(self.sigmas_db):
            shadow = np.diag([0.0, 0.0, (1.0 - keep**2) * sigma_db**2])
            self.states[index] = turn @ self.states[index] + pull
            self.covariances[index] = turn @ self.covariances[index] @ turn.T + fresh + shadow
        self.place, self.distance_m = place, distance_m

    def observe(self, level_dbm: float, variance_db2: float) -> None:
        row = np.array([1.0, -(self.place or 0.0), 1.0])
        for index, state in enumerate(self.states):
            covariance = self.covariances[index]
            variance = row @ covariance @ row + variance_db2
            gain = covariance @ row / variance
            off_db = level_dbm - row @ state
            self.states[index] = state + gain * off_db
            self.covariances[index] = covariance - np.outer(gain, gain) * variance
            self.weights[index] *= exp(-0.5 * off_db**2 / variance) / sqrt(2.0 * pi * variance)
        self.weights /= self.weights.sum()
        self.weights = np.maximum(self.weights, 1e-4)
        self.weights /= self.weights.sum()

    def bound(self, level_dbm: float, sigma_db: float, *, above: bool) -> None:
        """Weigh a grid of levels by the soft bound, and take the moments of what is left."""
        row = np.array([1.0, -(self.place or 0.0), 1.0])
        side = 1.0 if above else -1.0
        for index, state in enumerate(self.states):
            covariance = self.covariances[index]
            variance, mean = row @ covariance @ row, row @ state
            grid = mean + sqrt(variance) * np.linspace(-9.0, 9.0, 3001)
            density = np.exp(-0.5 * (grid - mean) ** 2 / variance)
            density /= density.sum()
            softness = sigma_db * sqrt(2.0)
            density *= [0.5 * erfc(-side * (each - level_dbm) / softness) for each in grid]
            share = density.sum()
            shifted = (density * grid).sum() / share
            left = (density * (grid - shifted) ** 2).sum() / share
            gain = covariance @ row / variance
            self.states[index] = state + gain * (shifted - mean)
            self.covariances[index] = covariance - np.outer(gain, gain) * (variance - left)
            self.weights[index] *= share
        self.weights /= self.weights.sum()
        self.weights = np.maximum(self.weights, 1e-4)
        self.weights /= self.weights.sum()

    def predict(self, distance_m: float) -> tuple[float, float]:
        place = decades(distance_m)
        here = place if self.place is None else self.place
        beyond = max(min(place - self.measured, place - here), 0.0)
        lever, wander = 0.0, 0.0
        steps = 4000
        step, rate = beyond / steps, law.EXPONENT_FORGETS
        for count in range(steps):
            left = beyond - (count + 0.5) * step
            lever += exp(-rate * (count + 0.5) * step) * step
            # What a jolt at this place adds until the end.
            share = (1.0 - exp(-rate * left)) / rate
            wander += 2.0 * rate * law.EXPONENT_SIGMA**2 * share**2 * step
        keep = exp(-abs(distance_m - self.distance_m) / model.SHADOW_DISTANCE_M)
        row = np.array([1.0, -(here + place - here - beyond + lever), keep])
        far_db = (beyond - lever) * law.FAR_EXPONENT
        means = np.array([row @ state for state in self.states]) - far_db
        spreads = [
            row @ covariance @ row + (1.0 - keep**2) * sigma_db**2
            for covariance, sigma_db in zip(self.covariances, self.sigmas_db, strict=True)
        ]
        mean = float(self.weights @ means)
        spread = float(self.weights @ ((means - mean) ** 2 + spreads))
        return mean, spread + wander + model.MODEL_VARIANCE_DB2

    def fit(self) -> list[float]:
        place = self.place or 0.0
        row = np.array([1.0, -place, 0.0])
        levels = np.array([row @ state for state in self.states])
        exponents = np.array([state[1] for state in self.states])
        level, exponent = float(self.weights @ levels), float(self.weights @ exponents)
        within = [row @ each @ row for each in self.covariances]
        turned = [each[1, 1] for each in self.covariances]
        return [
            level + (place + 10.0) * exponent,
            exponent,
            sqrt(self.weights @ ((levels - level) ** 2 + within)),
            sqrt(self.weights @ ((exponents - exponent) ** 2 + turned)),
            sqrt(self.weights @ np.array(self.sigmas_db) ** 2),
        ]


Sides = tuple[LinkEstimate, Reference]
"""Of the same history."""


def heard(sides: Sides, seed: int, *places_m: float) -> None:
    """Measure at places: a law with exponent 3.3 to begin with, that bends, with shadows."""
    source = np.random.default_rng(seed)
    at_m = places_m[0]
    for place_m in places_m:
        level_dbm = -14.0 - 33.0 * log10(place_m) - place_m / 60.0 + 2.0 * source.standard_normal()
        for side in sides:
            side.move(place_m, abs(place_m - at_m))
            side.observe(level_dbm, 1.3)
        at_m = place_m


def bounded(sides: Sides, place_m: float, off_db: float, *, above: bool) -> None:
    """Hear a bound that lies `off_db` over what is expected."""
    level_dbm = sides[1].predict(place_m)[0] + off_db
    for side in sides:
        side.move(place_m, 7.0)
        side.bound(level_dbm, 2.0, above=above)


WAYS: dict[str, Callable[[Sides], object]] = {
    "nothing heard": lambda sides: None,
    "beside the driver": lambda sides: heard(sides, 1, 1.0, 2.0),
    "out": lambda sides: heard(sides, 2, 5.0, 9.0, 16.0, 30.0, 34.0, 41.0, 80.0, 120.0),
    "in and out again": lambda sides: heard(sides, 3, 90.0, 70.0, 40.0, 20.0, 35.0, 60.0, 140.0),
    "in and out in small steps": lambda sides: heard(sides, 6, 90.0, 20.0, 22.0, 25.0, 27.0, 30.0),
    "over a bound": lambda sides: (
        heard(sides, 4, 6.0, 12.0, 25.0),
        bounded(sides, 50.0, 1.0, above=True),
        bounded(sides, 60.0, -8.0, above=True),
    ),
    "under a bound": lambda sides: (
        heard(sides, 5, 6.0, 12.0, 25.0, 50.0),
        bounded(sides, 90.0, -2.0, above=False),
        bounded(sides, 120.0, 6.0, above=False),
    ),
}


@pytest.mark.parametrize("begun", [None, False, True])
@pytest.mark.parametrize("way", WAYS)
def test_it_is_the_filter_of_the_textbook(way: str, begun: bool | None) -> None:
    sides = LinkEstimate(), Reference()
    if begun is not None:
        sides[0].begin(PRIOR, measures=begun)
        sides[1].begin(PRIOR, 12.0 if begun else 2.0)
    WAYS[way](sides)
    assert sides[0].jumps == 0
    for distance_m in (2.0, 8.0, 30.0, 58.0, 100.0, 145.0, 400.0):
        expected = sides[1].predict(distance_m)
        assert sides[0].predict(distance_m) == pytest.approx(expected, rel=1e-6, abs=1e-6)
    if begun is None and way == "nothing heard":
        assert sides[0].fit() is None
    else:
        assert fitted(sides[0]) == pytest.approx(sides[1].fit(), rel=1e-6)


def fitted(estimate: LinkEstimate) -> list[float]:
    fit = estimate.fit()
    assert fit is not None
    held = [fit.level_at_1m_dbm, fit.exponent]
    return [*held, fit.level_sigma_db, fit.exponent_sigma, fit.shadow_sigma_db]


def agree(sides: Sides) -> bool:
    distances_m = (2.0, 30.0, 100.0, 145.0, 400.0)
    expected = [sides[1].predict(distance_m) for distance_m in distances_m]
    found = [sides[0].predict(distance_m) for distance_m in distances_m]
    return np.allclose(found, expected, rtol=1e-6) and np.allclose(
        fitted(sides[0]), sides[1].fit(), rtol=1e-6
    )


def test_a_jump_opens_the_level_of_every_hypothesis_and_is_told_once() -> None:
    sides: Sides = LinkEstimate(), Reference()
    heard(sides, 2, 5.0, 9.0, 16.0, 30.0)
    fallen_dbm = sides[1].predict(32.0)[0] - 15.0
    for side in sides:
        side.move(32.0, 2.0)
        side.observe(fallen_dbm, 1.3)
    assert sides[0].jumps == 1
    assert (sides[0].rising, sides[0].falling) == (0.0, 0.0)
    assert not agree(sides)
    for covariance in sides[1].covariances:
        covariance[0, 0] += 7.0**2
    assert agree(sides)
    risen_dbm = sides[0].predict(34.0)[0] + 90.0
    sides[0].move(34.0, 2.0)
    sides[0].observe(risen_dbm, 1.3)
    assert sides[0].jumps == 2


def test_a_strength_of_shadow_is_never_ruled_out() -> None:
    sides: Sides = LinkEstimate(), Reference()
    for side in sides:
        for count in range(60):
            at_m = 10.0 + 12.0 * count
            side.move(at_m, 12.0)
            side.observe(-40.0 - 4.0 * decades(at_m), 0.1)
    # So smooth a course has no strong shadows; each could come back within a few samples.
    assert min(each.weight for each in sides[0].hypotheses) == pytest.approx(1e-4, rel=0.01)
    assert agree(sides)
