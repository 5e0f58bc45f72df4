"""Recordings made by hand and by simulation, for the tests of yaw and shocks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from groundstation.analysis.passes import PassSpan, find_passes
from groundstation.analysis.record import Columns, Floats, Record, record_of
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import Simulation
from groundstation.vehicle.profile import VehicleProfile
from protocol import batch, standard_table


def record_with(
    t_s: Floats, motion: dict[str, Floats], *, full_scale_g: float | None = 16.0
) -> Record:
    """Return a recording of motion frames alone, and one ident frame."""
    kinds = {kind.name: Columns(np.empty(0), {}) for kind in standard_table().kinds}
    kinds["motion"] = Columns(t_s, motion)
    told = np.array([np.nan if full_scale_g is None else full_scale_g])
    kinds["ident"] = Columns(t_s[:1], {"accel_full_scale_g": told})
    return Record(1, "invented", kinds, VehicleProfile(), None)


def whole(record: Record) -> PassSpan:
    """Return all of a recording as one pass."""
    return PassSpan(1, float(record.motion.t_s[0]), float(record.motion.t_s[-1]), False)


def simulated(name: str, seed: int, *, duration_s: float | None = None) -> Record:
    """Return the recording of a simulated run."""
    scenario = scenario_named(name)
    if duration_s is not None:
        scenario = replace(scenario, duration_s=duration_s)
    frames = batch.decode(b"".join(each.data for each in Simulation(scenario, seed=seed)))
    vehicle = frames.first_vehicle
    assert vehicle is not None
    return record_of(frames, vehicle=vehicle, driver=scenario.course.driver_deg)


def only_pass(record: Record) -> PassSpan:
    """Return the first pass of a recording."""
    return find_passes(record)[0]
