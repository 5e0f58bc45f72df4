"""What lies ahead: the stop point, what is left of the margin there, the time to the lift point.

Owns the step from an estimate and a motion to the forecast of one moment. Rule: no forecast from
a place that is not known: a car that is nearer to the driver than a few times the doubt of its
place may be anywhere about him, and no law tells how its level will fall; nor from a place at
which the level shows that the driver stands elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from groundstation.radio.estimate import NEAREST_M, LinkEstimate
from groundstation.radio.forecast import QUANTILE_5, Motion, lift_in_s, stop_way_m
from groundstation.radio.watch_setting import WatchSetting

MOVING_MPS = 1.5
"""Slower than this the stop point is here."""

KNOWN_SHARE = 0.25
"""A distance is known where its doubt is a smaller share of it than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """The forecast of one moment; None is "not known"."""

    stop_margin_db: float | None = None
    stop_margin_p05_db: float | None = None
    stop_point_m: float | None = None
    """From the driver, as all places."""
    lift_in_s: float | None = None
    lift_point_m: float | None = None
    range_edge_m: float | None = None
    moving: bool = False
    coming_nearer: bool = False
    """Whether the car would stop nearer to the driver than it is."""


@dataclass(slots=True)
class Outlook:
    """Newest solutions, where the next search begins; plain data."""

    edge_m: float = 100.0
    last_stop_m: float = 100.0

    def look(
        self,
        estimate: LinkEstimate,
        motion: Motion,
        setting: WatchSetting,
        *,
        refuted: bool = False,
    ) -> Ahead:
        """Return what lies ahead.

        Args:
            estimate: Of the law.
            motion: Now.
            setting: What is known beforehand; without a threshold there is nothing to tell.
            refuted: Whether the levels say that the car's place is wrong.
        """
        moving = motion.speed_mps >= MOVING_MPS
        way_m, way_sigma_m = stop_way_m(motion, setting.braking)
        line = motion.line()
        stop_m = line.distance_m(way_m)
        coming_nearer = moving and stop_m < motion.distance_m
        doubtful = refuted or motion.sigma_m > KNOWN_SHARE * motion.distance_m
        if setting.threshold_dbm is None or (moving and doubtful):
            return Ahead(moving=moving, coming_nearer=coming_nearer)
        law = _Margin(estimate, setting.threshold_dbm, way_sigma_m, motion.sigma_m)
        stop_db, p05_db = law.at_db(stop_m)
        self.edge_m = law.search_m(self.edge_m, 0.0, quantile=False)
        seconds = lift_m = None
        if moving and not coming_nearer:
            wanted_db = setting.limits.lift_stop_margin_db
            self.last_stop_m = law.search_m(self.last_stop_m, wanted_db, quantile=True)
            to_last_m = line.way_to_m(self.last_stop_m)
            seconds = lift_in_s(motion, setting.braking, to_last_m)
            if seconds is not None:
                gained_m = 0.5 * max(motion.accel_mps2, 0.0) * seconds**2
                lift_m = line.distance_m(motion.speed_mps * seconds + gained_m)
            if seconds == 0.0:
                lift_m = line.distance_m(to_last_m - way_m)
        return Ahead(
            stop_margin_db=stop_db,
            stop_margin_p05_db=p05_db,
            stop_point_m=stop_m,
            lift_in_s=seconds,
            lift_point_m=lift_m,
            range_edge_m=self.edge_m,
            moving=moving,
            coming_nearer=coming_nearer,
        )


@dataclass(frozen=True, slots=True)
class _Margin:
    """The margin over distance, as it is expected."""

    estimate: LinkEstimate
    threshold_dbm: float
    way_sigma_m: float
    """Of the way to the stop point."""
    place_sigma_m: float
    """Of the car's own distance."""

    def at_db(self, place_m: float) -> tuple[float, float]:
        """Return the expected margin at a distance from the driver, and its 5 % quantile."""
        level_dbm, variance_db2 = self.estimate.predict(place_m)
        # Of the plane earth: 40 log10(distance) has the slope 17.4 / distance. A distance that is
        # wrong is wrong in the estimate too: only the difference of the slopes tells.
        slope, here = 17.4 / max(place_m, NEAREST_M), 17.4 / max(self.estimate.distance_m, 10.0)
        variance_db2 += (slope * self.way_sigma_m) ** 2 + ((slope - here) * self.place_sigma_m) ** 2
        margin_db = level_dbm - self.threshold_dbm
        return margin_db, margin_db - QUANTILE_5 * sqrt(variance_db2)

    def search_m(self, from_m: float, wanted_db: float, *, quantile: bool) -> float:
        """Return where the margin, or its 5 % quantile, is what is wanted.

        The margin falls by about 40 dB a decade, so each step goes along that slope; the search
        goes on from tick to tick.
        """
        place_m = from_m
        for _ in range(3):
            mean_db, p05_db = self.at_db(place_m)
            off_db = (p05_db if quantile else mean_db) - wanted_db
            place_m = min(
                max(place_m * 10.0 ** (min(max(off_db, -20.0), 20.0) / 40.0), 1.0), 20_000.0
            )
            if abs(off_db) < 0.05:
                break
        return place_m
