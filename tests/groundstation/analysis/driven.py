"""Records made up from a speed over time: what perfect and imperfect sensors say of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from groundstation.analysis.record import Columns, Floats, Record, record_of
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import Simulation
from groundstation.units import STANDARD_GRAVITY_MPS2
from protocol.batch import decode

REST_S = 3.0

EMPTY = record_of(decode(b""), vehicle=1)

LATE_SEED = 3


def there_and_stop(
    t_s: Floats, *, top_mps: float = 40.0, gain_mps2: float = 8.0, hold_s: float = 1.0
) -> Floats:
    """Return the speed of a pass: rest, even gain, top speed held, even braking at 8 m/s^2."""
    rising = gain_mps2 * (t_s - REST_S)
    falling = top_mps - 8.0 * (t_s - REST_S - top_mps / gain_mps2 - hold_s)
    return np.clip(np.minimum(rising, falling), 0.0, top_mps)


def record_from(
    speed_at: Callable[[Floats], Floats],
    *,
    end_s: float = 20.0,
    seed: int = 1,
    fix_s: float = 0.1,
    delay_s: float = 0.0,
    wheel_factor: float = 1.0,
    accel_bias_mps2: float = 0.0,
    noise: float = 1.0,
) -> Record:
    """Return a record of motion at 100 Hz and fixes of a car going due east along the equator.

    Args:
        speed_at: Speed over time.
        end_s: Length.
        seed: Of the noise.
        fix_s: From fix to fix.
        delay_s: How much later than true the fixes are stamped.
        wheel_factor: On the wheel's speed.
        accel_bias_mps2: On the acceleration.
        noise: On the sizes of all errors.
    """
    source = np.random.default_rng(seed)
    t_s = np.arange(0.0, end_s, 0.01)
    speed_mps = speed_at(t_s)
    accel_mps2 = np.diff(speed_mps, prepend=speed_mps[0]) / 0.01 + accel_bias_mps2
    accel_mps2 += 0.1 * noise * source.standard_normal(len(t_s))
    wheel_mps = wheel_factor * speed_mps
    wheel_mps += np.where(speed_mps > 0.0, 0.03 * noise, 0.0) * source.standard_normal(len(t_s))
    motion = Columns(
        t_s,
        {"speed_mps": np.maximum(wheel_mps, 0.0), "accel_x_g": accel_mps2 / STANDARD_GRAVITY_MPS2},
    )
    true_s = np.arange(0.05, end_s, fix_s)
    fix_mps = np.abs(speed_at(true_s) + 0.05 * noise * source.standard_normal(len(true_s)))
    east_m = np.interp(true_s, t_s, np.cumsum(speed_mps) * 0.01)
    fix = Columns(
        true_s + delay_s,
        {
            "ground_speed_mps": fix_mps,
            "speed_accuracy_mps": np.full(len(true_s), 0.1),
            "latitude_deg": np.zeros(len(true_s)),
            "longitude_deg": np.degrees(east_m / 6378137.0),
            "horizontal_accuracy_m": np.full(len(true_s), 0.8),
            "fix_type": np.full(len(true_s), 3.0),
        },
    )
    return replace(EMPTY, kinds={**EMPTY.kinds, "motion": motion, "fix": fix})


def late_and_steady(stamp_late_s: float) -> tuple[Record, Scenario]:
    """Return the record of two simulated passes, out and back, and their scenario.

    Args:
        stamp_late_s: How much the fixes are stamped later than true; their places do not drift.
    """
    demo = scenario_named("demo")
    satellite = replace(demo.sensors.satellite, stamp_late_s=stamp_late_s, position_drift_m=0.001)
    scenario = replace(demo, duration_s=60.0, sensors=replace(demo.sensors, satellite=satellite))
    data = b"".join(each.data for each in Simulation(scenario, seed=LATE_SEED))
    record = record_of(decode(data), vehicle=1, driver=scenario.course.driver_deg)
    return record, scenario


def with_channel(record: Record, kind: str, channel: str, values: Floats | float) -> Record:
    """Return the record with a channel replaced."""
    columns = record.kinds[kind]
    column = np.broadcast_to(np.asarray(values, float), columns.t_s.shape)
    changed = Columns(columns.t_s, {**columns.values, channel: column})
    return replace(record, kinds={**record.kinds, kind: changed})


def without(record: Record, kind: str) -> Record:
    """Return the record with no frame of a kind."""
    return replace(record, kinds={**record.kinds, kind: record.kinds[kind].between(1.0, 0.0)})
