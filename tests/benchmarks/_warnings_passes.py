"""One pass, run: what the ground station is told of it, and what really happened.

Owns the definitions by which a warning is judged. A pass that holds the throttle is run until
failsafe first begins: that place is its loss. A safe pass lifts by itself so that the true local
mean margin stays at or above `SAFE_MARGIN_DB` up to where the car stops.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from math import cos, hypot, radians

import numpy as np
from numpy.typing import NDArray

from groundstation.simulator.downlink import Downlink
from groundstation.simulator.drive import Drive
from groundstation.simulator.driver_plan import Pass
from groundstation.simulator.firmware import Firmware
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.world import FRAME_S, World
from protocol import Receiver
from protocol.events import SampleReceived
from tests.benchmarks._warnings_worlds import Draw, draw_world

SAFE_MARGIN_DB = 12.0
EARTH_RADIUS_M = 6_371_000.0
PROFILE_STEP_M = 1.0
LONGEST_PASS_S = 60.0

Floats = NDArray[np.float64]


class Setting(StrEnum):
    """What is special about a pass."""

    CLEAN = "clean edge"
    NOTCH = "notch by a parked vehicle"
    DISTURBED = "disturbed antenna"
    PERCENT = "percentage-only receiver"
    SILENT = "telemetry silent first"
    NO_FIX = "no fix"


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """What arrives on the ground, one row a frame; unknown values are NaN."""

    motion: Floats
    """Columns: arrival s, wheel speed m/s, failsafe, brake."""
    fix: Floats
    """Columns: arrival s, distance from the driver m, accuracy m, ground speed m/s."""
    radio: Floats
    """Columns: arrival s, RSSI dBm, received percent."""


@dataclass(frozen=True, slots=True, eq=False)
class PassRun:
    """A pass and the truth about it."""

    seed: int
    setting: Setting
    second_air: bool
    holds: bool
    """Whether it holds the throttle to the edge; else it is meant to be safe."""
    told: Told
    t_s: Floats
    along_m: Floats
    speed_mps: Floats
    loss_m: float | None
    """Along the course, where failsafe first begins."""
    profile_db: Floats
    """True local mean margin along the line, each `PROFILE_STEP_M` from 0."""
    brake_m: Floats
    """Distance from the lift command to rest, each m/s from 0."""
    draw: Draw
    """With the air taken out, as it is not needed any more."""

    @property
    def driver_m(self) -> tuple[float, float]:
        """Along and across the course."""
        course = self.draw.scenario.course
        return course.driver_along_m, course.driver_across_m

    @property
    def sensitivity_dbm(self) -> float:
        """The control receiver's."""
        return self.draw.scenario.receiver.sensitivity_dbm

    @property
    def edge_m(self) -> float:
        """Distance from the driver at which the level without shadows falls to the sensitivity."""
        strong = np.flatnonzero(self.draw.mean_dbm > self.sensitivity_dbm)
        return float(self.draw.mean_distances_m[strong[-1]])

    def stop_m(self, at_s: float, react_s: float | None = None) -> float:
        """Return where along the course the car comes to rest when warned at a time.

        Args:
            at_s: When the driver is warned.
            react_s: Until the finger moves; None is this driver's own reaction, this time.
        """
        lift_s = at_s + (self.draw.react_s if react_s is None else react_s)
        along_m = float(np.interp(lift_s, self.t_s, self.along_m))
        speed_mps = float(np.interp(lift_s, self.t_s, self.speed_mps))
        if lift_s > self.t_s[-1]:
            along_m += (lift_s - self.t_s[-1]) * speed_mps
        return along_m + float(np.interp(speed_mps, np.arange(len(self.brake_m)), self.brake_m))

    def margin_db(self, along_m: float) -> float:
        """Return the true local mean margin at a place on the line."""
        places_m = np.arange(len(self.profile_db)) * PROFILE_STEP_M
        return float(np.interp(along_m, places_m, self.profile_db))


def run_pass(seed: int, setting: Setting, *, second_air: bool, holds: bool) -> PassRun | None:
    """Return one pass; None where it is neither safe nor loses the link.

    Args:
        seed: Not negative.
        setting: What is special about it.
        second_air: In the air that is not the simulator's.
        holds: To the edge of range.
    """
    draw = draw_world(
        seed,
        second=second_air,
        disturbed=setting is Setting.DISTURBED,
        notched=setting is Setting.NOTCH,
        beside=setting is Setting.NO_FIX,
    )
    profile_db = _profile_db(draw)
    brake_m = _brake_table_m(draw.scenario)
    scenario = draw.scenario
    if not holds:
        lift_at_m = _safe_lift_m(draw, profile_db, brake_m, seed)
        if lift_at_m is None:
            return None
        wait, leg = scenario.plan.legs
        assert isinstance(leg, Pass)
        legs = (wait, replace(leg, lift_at_m=lift_at_m))
        scenario = replace(scenario, plan=replace(scenario.plan, legs=legs))
    world = World(scenario, seed=seed)
    world.channel = draw.air  # type: ignore[assignment]
    told, truth = _run(world, scenario, seed)
    if world.tumble is not None or (holds and not world.receiver.failsafe):
        return None
    least_db = profile_db[: int(truth[-1, 1] / PROFILE_STEP_M) + 2].min()
    if not holds and (least_db < SAFE_MARGIN_DB or world.receiver.failsafe_count):
        return None
    return PassRun(
        seed=seed,
        setting=setting,
        second_air=second_air,
        holds=holds,
        told=told,
        t_s=truth[:, 0],
        along_m=truth[:, 1],
        speed_mps=truth[:, 2],
        loss_m=float(truth[-1, 1]) if holds else None,
        profile_db=profile_db,
        brake_m=brake_m,
        draw=replace(draw, air=None),  # type: ignore[arg-type]
    )


def _run(world: World, scenario: Scenario, seed: int) -> tuple[Told, Floats]:
    firmware, downlink = Firmware(scenario, seed=seed), Downlink(scenario.telemetry, seed=seed)
    receiver = Receiver()
    rows: dict[str, list[tuple[float, ...]]] = {"motion": [], "fix": [], "radio": []}
    truth: list[tuple[float, float, float]] = []
    course = scenario.course
    station_deg = course.origin.place_deg(course.driver_along_m, course.driver_across_m)
    while world.t_s < LONGEST_PASS_S and world.tumble is None:
        world.advance()
        truth.append((world.t_s, world.along_m, world.speed_mps))
        for data in firmware.frames(world):
            at_s = downlink.arrival_s(world.t_s)
            if at_s is None:
                continue
            for event in receiver.receive_data(data, at_s):
                if isinstance(event, SampleReceived) and event.kind.name in rows:
                    rows[event.kind.name].append(_row(event, at_s, station_deg))
        if world.receiver.failsafe or (world.t_s > 6.0 and world.speed_mps < 0.01):
            break
    told = Told(**{name: np.array(each, dtype=float) for name, each in rows.items()})
    return told, np.array(truth)


def _row(event: SampleReceived, at_s: float, station_deg: tuple[float, float]) -> tuple[float, ...]:
    def value(name: str) -> float:
        found = event.values.get(name)
        return float("nan") if found is None else float(found)  # type: ignore[arg-type]

    if event.kind.name == "motion":
        return at_s, value("speed_mps"), value("failsafe_active"), value("brake_on")
    if event.kind.name == "radio":
        return at_s, value("control_rssi_dbm"), value("control_received_percent")
    # Over so short a way a plane does; the error is of the order of a centimetre.
    north_m = radians(value("latitude_deg") - station_deg[0]) * EARTH_RADIUS_M
    east_m = radians(value("longitude_deg") - station_deg[1]) * EARTH_RADIUS_M
    distance_m = hypot(north_m, east_m * cos(radians(station_deg[0])))
    return at_s, distance_m, value("horizontal_accuracy_m"), value("ground_speed_mps")


def _profile_db(draw: Draw) -> Floats:
    sensitivity_dbm = draw.scenario.receiver.sensitivity_dbm
    places_m = np.arange(0.0, 1400.0, PROFILE_STEP_M).tolist()
    return (
        np.array([draw.air.local_mean_dbm(each, 0.0, 0.0) for each in places_m]) - sensitivity_dbm
    )


def _brake_table_m(scenario: Scenario) -> Floats:
    """Return the way from the lift to rest for each whole speed, by the car's own drive."""
    leg = scenario.plan.legs[1]
    assert isinstance(leg, Pass)
    distances_m = []
    for speed_mps in range(75):
        drive = Drive(scenario.car.drive, scenario.car.pack)
        drive.speed_mps = float(speed_mps)
        way_m, t_s = 0.0, 0.0
        while drive.speed_mps > 0.0:
            drive.advance(0.0 if t_s < leg.coast_s else -leg.brake, FRAME_S)
            way_m += drive.speed_mps * FRAME_S
            t_s += FRAME_S
        distances_m.append(way_m)
    return np.array(distances_m)


def _safe_lift_m(draw: Draw, profile_db: Floats, brake_m: Floats, seed: int) -> float | None:
    """Return where to lift so that the car stops before the margin falls below the safe one."""
    under = np.flatnonzero(profile_db < SAFE_MARGIN_DB)
    reach_m = (float(under[0]) if len(under) else 1000.0) * PROFILE_STEP_M
    wanted_m = reach_m * np.random.default_rng([seed, 21]).uniform(0.4, 0.98)
    leg = draw.scenario.plan.legs[1]
    assert isinstance(leg, Pass)
    drive, along_m = Drive(draw.scenario.car.drive, draw.scenario.car.pack), 0.0
    while along_m < wanted_m:
        throttle = min(
            1.0, max(0.0, 0.5 + 0.25 * ((leg.speed_limit_mps or 99.0) - drive.speed_mps))
        )
        drive.advance(throttle, FRAME_S)
        along_m += drive.speed_mps * FRAME_S
        if along_m + np.interp(drive.speed_mps, np.arange(len(brake_m)), brake_m) >= wanted_m:
            return along_m if drive.speed_mps > 8.0 else None
    return None
