"""The margin of the control link at distances from the driver, by each law that is worth asking.

Owns the curves of a plan. Free space is what the link would have without a ground; plane earth, a
ground that reflects everything, is the pessimistic bound; two rays over real ground is what is to
be expected; and where a range check has been made, its own law with a 5 % quantile.

Rule: margins are local means. Near the transmitter the two rays make maxima and nulls; closer than
the distance at which the last of them is past, what they make of one wave is averaged, in watts,
over up to `LOCAL_WAVES` wavelengths of distance. What is narrower is fast fading, for which the
required margin is there. Behind that distance the law is smooth and taken as it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from groundstation.planning.course import Radio
from groundstation.radio.estimate import LinkEstimate, LinkPrior
from groundstation.radio.forecast import QUANTILE_5
from groundstation.radio.propagation import (
    Array,
    Numbers,
    free_space_loss_db,
    fresnel_touch_m,
    plane_earth_loss_db,
    two_ray_loss_db,
    wavelength_m,
)

LOCAL_WAVES = 40.0
"""Length of a local mean (W. C. Y. Lee, IEEE Transactions on Vehicular Technology 34(1), 1985; from
memory)."""

NEAREST_M = 0.01
"""Nearer than this no law has a meaning; every one is held there."""

_PLACES_IN_A_MEAN = 65


@dataclass(frozen=True, slots=True)
class Checked:
    """What a range check found, and with which radio."""

    prior: LinkPrior
    radio: Radio
    """As it was held at the check; a plan that changes it shifts the checked law by what the two
    rays make of the change."""
    _estimate: LinkEstimate = field(default_factory=LinkEstimate, init=False, repr=False)

    def __post_init__(self) -> None:
        """Start the estimate of the drive from the check, at its farthest distance."""
        self._estimate.begin(self.prior, measures=False)
        self._estimate.move(self.prior.reach_m, 0.0)

    def level_dbm(self, distance_m: Array) -> tuple[Array, Array]:
        """Return the local mean level at distances and its standard deviation.

        The deviation holds the check's own uncertainty, the move from one day to another, and the
        shadows of a place.
        """
        found = [self._estimate.predict(float(each)) for each in distance_m.flat]
        mean_dbm, variance_db2 = np.array(found).reshape(-1, 2).T
        shape = distance_m.shape
        return mean_dbm.reshape(shape), np.sqrt(variance_db2).reshape(shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """Margins at the same distances by every law, dB."""

    distance_m: Array
    free_space_db: Array
    two_ray_db: Array
    plane_earth_db: Array
    """The bound: never more than free space gives."""
    checked_db: Array | None
    checked_p05_db: Array | None
    """5 % lie below."""

    @property
    def deciding_db(self) -> Array:
        """What the plan judges by: the checked quantile where there is one, else two rays."""
        return self.two_ray_db if self.checked_p05_db is None else self.checked_p05_db


def margins(distance_m: Numbers, radio: Radio, checked: Checked | None = None) -> Margins:
    """Return the margins at distances over the ground."""
    along_m: Array = np.asarray(distance_m, dtype=np.float64)
    free_space_db = _free_space_loss_db(along_m, radio)
    plane_earth_db = plane_earth_loss_db(
        np.maximum(along_m, NEAREST_M),
        transmitter_height_m=radio.transmitter_height_m,
        receiver_height_m=radio.car_height_m,
    )
    checked_db: Array | None = None
    checked_p05_db: Array | None = None
    if checked is not None:
        level_dbm, sigma_db = checked.level_dbm(along_m)
        checked_db = level_dbm - radio.budget.threshold_dbm
        if radio != checked.radio:
            checked_db = checked_db + _two_ray_level_dbm(along_m, radio)
            checked_db = checked_db - _two_ray_level_dbm(along_m, checked.radio)
        checked_p05_db = checked_db - QUANTILE_5 * sigma_db
    return Margins(
        distance_m=along_m,
        free_space_db=radio.budget.margin_db(free_space_db),
        two_ray_db=radio.budget.margin_db(local_loss_db(along_m, radio)),
        plane_earth_db=radio.budget.margin_db(np.maximum(free_space_db, plane_earth_db)),
        checked_db=checked_db,
        checked_p05_db=checked_p05_db,
    )


def smooth_from_m(radio: Radio) -> float:
    """Return the distance behind which the two rays make no maximum any more: 4 ht hr / lambda."""
    return fresnel_touch_m(
        transmitter_height_m=radio.transmitter_height_m,
        receiver_height_m=radio.car_height_m,
        frequency_hz=radio.frequency_hz,
    )


def local_loss_db(distance_m: Numbers, radio: Radio) -> Array:
    """Return the loss of two rays over real ground, the power averaged over a local mean."""
    along_m: Array = np.asarray(distance_m, dtype=np.float64)
    loss_db = _two_ray_loss_db(along_m, radio)
    smooth_m = smooth_from_m(radio)
    uneven = along_m < smooth_m
    if not uneven.any():
        return loss_db
    near_m: Array = along_m[uneven]
    # The mean shrinks to nothing where the smooth law begins, so that nothing jumps there.
    longest_m = 0.5 * LOCAL_WAVES * wavelength_m(radio.frequency_hz)
    half_m = np.minimum(np.minimum(longest_m, near_m), smooth_m - near_m)
    across = np.linspace(-1.0, 1.0, _PLACES_IN_A_MEAN)
    around_m: Array = near_m[:, None] + half_m[:, None] * across
    # What the two waves make of one is averaged, not the way's own loss: that is no interference.
    gained_db = _free_space_loss_db(around_m, radio) - _two_ray_loss_db(around_m, radio)
    mean_db = 10.0 * np.log10(np.mean(10.0 ** (gained_db / 10.0), axis=1))
    averaged = np.array(loss_db)
    averaged[uneven] = _free_space_loss_db(near_m, radio) - mean_db
    return averaged


def fresnel_clearance(distance_m: Numbers, radio: Radio) -> Array:
    """Return how much of the first Fresnel zone's radius is clear of the ground at its tightest.

    The line of sight is tightest, against the zone, where the reflected wave meets the ground; the
    ratio there is 2 sqrt(ht hr / (lambda d)), 1 at `smooth_from_m`. ITU-R P.530 asks for 0.6 for a
    link to count as free (from memory).
    """
    along_m = np.maximum(np.asarray(distance_m, dtype=np.float64), NEAREST_M)
    return np.asarray(np.sqrt(smooth_from_m(radio) / along_m))


def loss_of_doubling_db(distance_m: float, radio: Radio) -> float:
    """Return what twice the distance costs; 6 dB in free space, 12 dB far out over any ground."""
    near_db, far_db = local_loss_db(np.array([distance_m, 2.0 * distance_m]), radio)
    return float(far_db - near_db)


def _two_ray_level_dbm(distance_m: Array, radio: Radio) -> Array:
    return radio.budget.received_dbm(local_loss_db(distance_m, radio))


def _free_space_loss_db(distance_m: Array, radio: Radio) -> Array:
    rise_m = radio.transmitter_height_m - radio.car_height_m
    slant_m = np.hypot(np.maximum(distance_m, NEAREST_M), rise_m)
    return free_space_loss_db(slant_m, radio.frequency_hz)


def _two_ray_loss_db(distance_m: Array, radio: Radio) -> Array:
    return two_ray_loss_db(
        np.maximum(distance_m, NEAREST_M),
        transmitter_height_m=radio.transmitter_height_m,
        receiver_height_m=radio.car_height_m,
        frequency_hz=radio.frequency_hz,
        polarisation=radio.polarisation,
        ground=radio.ground,
    )
