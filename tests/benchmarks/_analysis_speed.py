"""How well the speed of a pass is known: a seeded Monte Carlo over simulated passes.

Definitions. The truth is the highest speed over ground of the simulated pass. An interval covers
it when it lies inside. A spike becomes the peak when the peak told lies more than `SPIKE_MPS` / 2
above the truth. Passes differ in car, course, fix rate, delay of the fixes, size of the receiver's
errors, spikes, wheel factor, slip, accelerometer bias and scale, slope, and in what the air loses;
one in ten lacks the wheel, the accelerometer or the fixes altogether and is counted by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from multiprocessing import Pool

import numpy as np

from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Columns, Floats, Record, record_of
from groundstation.analysis.speed import speeds_of
from groundstation.simulator.downlink import TelemetryParameters
from groundstation.simulator.drive import DriveParameters
from groundstation.simulator.driver_plan import DriverPlan, Pass, Wait
from groundstation.simulator.inertial import InertialParameters
from groundstation.simulator.satellite import SatelliteParameters
from groundstation.simulator.scenario import CarParameters, Scenario, SensorParameters
from groundstation.simulator.simulation import Simulation
from groundstation.units import STANDARD_GRAVITY_MPS2
from protocol.batch import decode
from tests.benchmarks._analysis_rows import Row
from tests.benchmarks._shares import wilson

PROCESSES = 2
SPIKE_MPS = 5.0
TARGET_COVERED = (0.92, 0.98)


class Lacking(StrEnum):
    """What the car does not measure."""

    NOTHING = "all channels"
    WHEEL = "no wheel speed"
    ACCEL = "no accelerometer"
    FIX = "no fix"
    ALL_BUT_FIX = "fixes alone"


LACKS = (Lacking.WHEEL, Lacking.ACCEL, Lacking.FIX, Lacking.ALL_BUT_FIX)


@dataclass(frozen=True, slots=True)
class Outcome:
    """One pass, told and true."""

    lacking: Lacking
    truth_mps: float
    peak_mps: float
    low_mps: float
    high_mps: float
    satellite_max_mps: float | None
    wheel_max_mps: float | None
    spikes: int
    """Named."""
    delay_error_s: float
    fix_interval_s: float


def drawn_pass(seed: int) -> tuple[Scenario, float]:
    """Return a scenario of one pass, and how late its fixes are stamped."""
    source = np.random.default_rng([seed, 71])
    late_s = float(source.uniform(0.0, 0.15))
    size = float(source.uniform(0.6, 1.6))
    satellite = SatelliteParameters(
        interval_s=float(source.choice([0.04, 0.1, 0.2])),
        stamp_late_s=late_s,
        speed_noise_mps=0.04 * size,
        speed_drift_mps=0.05 * size,
        speed_drift_s=float(source.uniform(2.5, 8.0)),
        spike_chance=float(source.choice([0.0, 0.01, 0.04])),
        spike_more_mps=float(source.uniform(0.5, 6.0)),
    )
    limited = bool(source.random() < 0.4)
    plan = DriverPlan(
        legs=(
            Wait(1.0),
            Pass(
                lift_at_m=float(source.uniform(70.0, 160.0)),
                throttle=float(source.uniform(0.6, 1.0)),
                speed_limit_mps=float(source.uniform(18.0, 32.0)) if limited else None,
                brake=float(source.uniform(0.5, 1.0)),
            ),
        )
    )
    drive = DriveParameters(
        mass_kg=float(source.uniform(4.0, 6.5)),
        power_limit_w=float(source.uniform(1400.0, 2600.0)),
        slip_at_grip=float(source.uniform(0.02, 0.09)),
        drag_area_m2=float(source.uniform(0.009, 0.014)),
    )
    scenario = Scenario(
        name="drawn",
        summary="A pass drawn at random.",
        duration_s=26.0,
        plan=plan,
        car=CarParameters(drive=drive),
        sensors=SensorParameters(
            inertial=InertialParameters(accel_bias_g=float(source.uniform(0.01, 0.03))),
            satellite=satellite,
            wheel_noise_mps=float(source.uniform(0.02, 0.15)),
        ),
        telemetry=TelemetryParameters(
            loss=float(source.uniform(0.0, 0.03)), bursts_per_s=float(source.uniform(0.0, 0.2))
        ),
    )
    return scenario, late_s


def mismeasured(record: Record, seed: int, lacking: Lacking) -> Record:
    """Return the record as worse sensors would give it: factors, slope, channels missing."""
    source = np.random.default_rng([seed, 72])
    motion, fix = dict(record.motion.values), dict(record.fix.values)
    motion["speed_mps"] = motion["speed_mps"] * (1.0 + 0.03 * source.standard_normal())
    slope_mps2 = 0.05 * np.sin(record.motion.t_s / source.uniform(1.0, 4.0))
    scale = 1.0 + 0.007 * source.standard_normal()
    motion["accel_x_g"] = motion["accel_x_g"] * scale + slope_mps2 / STANDARD_GRAVITY_MPS2
    if lacking is Lacking.WHEEL:
        motion["speed_mps"] = np.full(len(record.motion), np.nan)
    elif lacking is Lacking.ACCEL:
        motion["accel_x_g"] = np.full(len(record.motion), np.nan)
    kinds = {
        **record.kinds,
        "motion": Columns(record.motion.t_s, motion),
        "fix": Columns(record.fix.t_s, fix),
    }
    if lacking is Lacking.FIX:
        kinds["fix"] = record.fix.between(1.0, 0.0)
    if lacking is Lacking.ALL_BUT_FIX:
        kinds["motion"] = record.motion.between(1.0, 0.0)
    return replace(record, kinds=kinds)


def outcome_of(seed: int) -> Outcome | None:
    """Simulate a pass and tell its speed; None where nothing was a pass."""
    scenario, late_s = drawn_pass(seed)
    simulation = Simulation(scenario, seed=seed)
    emissions = []
    truth_mps = 0.0
    for emission in simulation:
        emissions.append(emission)
        state = simulation.truth
        truth_mps = max(truth_mps, state.speed_mps)
        if state.doing == "waiting" and truth_mps > 8.0:
            break
    batch = decode(
        b"".join(each.data for each in emissions),
        np.array([each.at_s for each in emissions]),
        np.array([len(each.data) for each in emissions]),
    )
    assert batch.first_vehicle is not None
    lacking = LACKS[seed // 10 % len(LACKS)] if seed % 10 == 9 else Lacking.NOTHING
    record = mismeasured(record_of(batch, vehicle=batch.first_vehicle), seed, lacking)
    told = [each for each in speeds_of(record, find_passes(record)) if each is not None]
    if not told:
        return None
    best = max(told, key=lambda each: each.peak.speed_mps)
    return Outcome(
        lacking=lacking,
        truth_mps=truth_mps,
        peak_mps=best.peak.speed_mps,
        low_mps=best.peak.low_mps,
        high_mps=best.peak.high_mps,
        satellite_max_mps=best.satellite_max_mps,
        wheel_max_mps=best.wheel_max_mps,
        spikes=len(best.spikes),
        delay_error_s=best.errors.delay_s - late_s,
        fix_interval_s=scenario.sensors.satellite.interval_s,
    )


def outcomes_of(passes: int, seed: int) -> list[Outcome]:
    """Return passes drawn from seeds in a row."""
    with Pool(PROCESSES) as pool:
        found = pool.map(outcome_of, range(seed, seed + passes), chunksize=4)
    return [each for each in found if each is not None]


def rows(passes: int, seed: int) -> list[Row]:
    """Return the figures of a Monte Carlo.

    Args:
        passes: How many are simulated.
        seed: Of the first; the others follow.
    """
    found = outcomes_of(passes, seed)
    table = [_covered(found, Lacking.NOTHING)]
    table += _errors([each for each in found if each.lacking is Lacking.NOTHING])
    table += [
        _covered(found, lacking)
        for lacking in LACKS
        if any(each.lacking is lacking for each in found)
    ]
    return table


def _covered(found: list[Outcome], lacking: Lacking) -> Row:
    chosen = [each for each in found if each.lacking is lacking]
    hits = sum(each.low_mps <= each.truth_mps <= each.high_mps for each in chosen)
    share = hits / max(len(chosen), 1)
    low, high = TARGET_COVERED
    whole = lacking is Lacking.NOTHING
    return Row(
        f"95 % interval of the peak covers the truth, {lacking} ({len(chosen)} passes)",
        100.0 * share,
        "%",
        _percent(wilson(hits, len(chosen))),
        f"{100 * low:.0f} to {100 * high:.0f} %" if whole else "",
        low <= share <= high if whole else None,
    )


def _errors(chosen: list[Outcome]) -> list[Row]:
    truth_mps = np.array([each.truth_mps for each in chosen])
    peak_mps = np.array([each.peak_mps for each in chosen])
    off_mps = peak_mps - truth_mps
    raw = np.array([each.satellite_max_mps or np.nan for each in chosen]) - truth_mps
    wheel = np.array([each.wheel_max_mps or np.nan for each in chosen]) - truth_mps
    width_mps = np.array([each.high_mps - each.low_mps for each in chosen])
    delay_ms = 1000.0 * np.array([each.delay_error_s for each in chosen])
    spiked = int(np.sum(off_mps > 0.5 * SPIKE_MPS))
    raw_spiked = int(np.sum(raw > 0.5 * SPIKE_MPS))
    better = int(np.sum(np.abs(off_mps) <= np.abs(raw)))
    count = len(chosen)
    return [
        Row("rms error of the peak", _rms(off_mps), "m/s"),
        Row("median size of that error", _middle(off_mps), "m/s"),
        Row("mean error of the peak", float(off_mps.mean()), "m/s"),
        Row("rms error of the raw satellite maximum", _rms(raw), "m/s"),
        Row("median size of that error", _middle(raw), "m/s"),
        Row("rms error of the raw wheel maximum", _rms(wheel), "m/s"),
        Row("median width of the interval", float(np.median(width_mps)), "m/s"),
        Row(
            f"spikes of {SPIKE_MPS:g} m/s and more that became the peak",
            100.0 * spiked / count,
            "%",
            _percent(wilson(spiked, count)),
            "0",
            spiked == 0,
        ),
        Row(
            "the same with the raw satellite maximum",
            100.0 * raw_spiked / count,
            "%",
            _percent(wilson(raw_spiked, count)),
        ),
        Row(
            "peak at least as near to the truth as the raw satellite maximum",
            100.0 * better / count,
            "%",
            _percent(wilson(better, count)),
        ),
        Row("rms error of the satellite delay found", _rms(delay_ms), "ms"),
    ]


def _middle(values: Floats) -> float:
    return float(np.nanmedian(np.abs(values)))


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.nanmean(values**2)))


def _percent(interval: tuple[float, float]) -> tuple[float, float]:
    return 100.0 * interval[0], 100.0 * interval[1]
