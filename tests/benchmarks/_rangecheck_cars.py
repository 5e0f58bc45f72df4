"""Simulated cars and their range checks: the channel and the receiver alone, without the physics.

The levels come from the simulator's channel and control receiver, report by report. What differs
from day to day is stated in `DayToDay`; what a car and its course keep is drawn once a car.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import hypot, radians, sqrt
from random import Random

from groundstation.rangecheck.levels import HoldAverage, LevelReading
from groundstation.rangecheck.record import Hold
from groundstation.rangecheck.setting import HEADINGS_DEG
from groundstation.simulator.channel import (
    SHADOW_REACH_M,
    SHADOW_STEP_M,
    ChannelParameters,
    ControlChannel,
    FadingPath,
    Lobe,
    shadow_map_db,
)
from groundstation.simulator.command import REST
from groundstation.simulator.control_receiver import ControlReceiver, ControlReceiverParameters
from groundstation.simulator.ground import SPEED_OF_LIGHT_MPS
from protocol import Value

MARKS_M = (10.0, 20.0, 40.0, 80.0)
HOLD_S = 5.0
SETTLE_S = 0.3
PACKET_S = 0.02
PACKETS_A_REPORT = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class DayToDay:
    """What is not the same the next day (invented figures, common practice, no source)."""

    level_sigma_db: float = 1.0
    """How the transmitter is held, its pack, the wet or dry ground."""
    shadow_share: float = 0.3
    """Of the shadows' variance."""
    place_m: float = 0.5
    """The car lies within this of the mark, along and across."""
    heading_deg: float = 10.0
    """And within this of the heading."""


@dataclass(frozen=True, slots=True)
class Car:
    """One car on its course."""

    parameters: ChannelParameters
    course_seed: int


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What is wrong with the aerial."""

    level_db: float = 0.0
    """Lost in every direction."""
    side_db: float = 0.0
    """Lost in one direction, the cosine's power of a shadowed side, none opposite."""
    side_deg: float = 90.0


def invent_car(number: int) -> Car:
    """Return a car: its aerial's pattern, its shadows."""
    random = Random(number)
    pattern = (
        Lobe(1, random.uniform(0.2, 1.8), random.uniform(0.0, 360.0)),
        Lobe(2, random.uniform(0.2, 1.2), random.uniform(0.0, 360.0)),
    )
    parameters = ChannelParameters(
        pattern=pattern,
        shadow_sigma_db=random.uniform(1.2, 2.6),
        rician_k_db=random.uniform(6.0, 11.0),
        hand_motion_mps=random.uniform(0.04, 0.12),
    )
    return Car(parameters, number)


def reports(
    car: Car, day: int, disturbance: Disturbance, days: DayToDay
) -> Iterator[tuple[float, int, list[Mapping[str, Value]]]]:
    """Yield the radio reports of each hold of one check: distance, heading, and the reports."""
    random = Random(1_000_003 * car.course_seed + day)
    given = car.parameters
    kept = replace(
        given,
        shadow_sigma_db=given.shadow_sigma_db * sqrt(1.0 - days.shadow_share),
        disturbance_db=disturbance.level_db,
        pattern=(*given.pattern, *_shadowed(disturbance)),
    )
    channel = ControlChannel(kept, driver_along_m=0.0, driver_across_m=0.0, seed=car.course_seed)
    of_today = replace(given, shadow_sigma_db=given.shadow_sigma_db * sqrt(days.shadow_share))
    seed = random.randrange(1 << 30)
    shadows_db = shadow_map_db(of_today, seed)
    fading = FadingPath(given.rician_k_db, SPEED_OF_LIGHT_MPS / given.frequency_hz, seed)
    receiver = ControlReceiver(ControlReceiverParameters(packet_interval_s=PACKET_S), seed=seed)
    offset_db = random.gauss(0.0, days.level_sigma_db)
    t_s = travelled_m = 0.0
    for distance_m in MARKS_M:
        along_m = distance_m + random.uniform(-days.place_m, days.place_m)
        across_m = random.uniform(-days.place_m, days.place_m)
        for heading_deg in HEADINGS_DEG:
            off_deg = random.uniform(-days.heading_deg, days.heading_deg)
            mean_dbm = (
                channel.local_mean_dbm(along_m, across_m, radians(heading_deg + off_deg))
                + _shadow_db(shadows_db, hypot(along_m, across_m))
                + offset_db
            )
            travelled_m += 1.0
            held: list[Mapping[str, Value]] = []
            for packet in range(round((SETTLE_S + HOLD_S) / PACKET_S)):
                t_s += PACKET_S
                travelled_m += given.hand_motion_mps * PACKET_S
                receiver.packet_due(t_s, mean_dbm + fading.fade_db(travelled_m), REST)
                if packet % PACKETS_A_REPORT == 0:
                    report = receiver.report(t_s)
                    if packet * PACKET_S >= SETTLE_S:
                        held.append(
                            {
                                "control_rssi_dbm": report.rssi_dbm,
                                "control_snr_db": report.snr_db,
                                "control_received_percent": report.received_percent,
                            }
                        )
            yield distance_m, heading_deg, held


def holds(
    car: Car, day: int, disturbance: Disturbance | None = None, days: DayToDay | None = None
) -> tuple[Hold, ...]:
    """Return the holds of one check."""
    measured = reports(car, day, disturbance or Disturbance(), days or DayToDay())
    kept: list[Hold] = []
    for distance_m, heading_deg, held in measured:
        average = HoldAverage(LevelReading())
        for values in held:
            average.take(values)
        kept.append(
            average.hold(
                mark=MARKS_M.index(distance_m),
                distance_m=distance_m,
                heading_deg=heading_deg,
                by_fix=False,
            )
        )
    return tuple(kept)


def _shadowed(disturbance: Disturbance) -> tuple[Lobe, ...]:
    """Return -side_db ((1 + cos) / 2)^2 about a direction, as harmonics; its mean left out.

    The mean, 3/8 of it, is left out so that the two kinds of disturbance do not mix.
    """
    if disturbance.side_db == 0.0:
        return ()
    away_deg = disturbance.side_deg + 180.0
    return (
        Lobe(1, 0.5 * disturbance.side_db, away_deg),
        Lobe(2, 0.125 * disturbance.side_db, disturbance.side_deg + 90.0),
    )


def _shadow_db(shadows_db: list[float], along_m: float) -> float:
    return shadows_db[round((along_m - SHADOW_REACH_M[0]) / SHADOW_STEP_M)]
