"""What the analysis says of yaw, stabiliser and shocks, beside what the simulator knows.

Owns the invented cars: gain, delay, tyres, grip, mass distribution, servo, road and speed are drawn
for each pass, so that no constant of the analysis can fit them all. The analysis is told wheelbase
and steering lock, as a builder measures them, and once nothing at all. Beside it stands the least
error that a pass allows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain
from math import atan, degrees, inf, pi, radians
from multiprocessing import Pool

import numpy as np

from groundstation.analysis.passes import PassSpan, find_passes
from groundstation.analysis.record import Floats, Record, record_of
from groundstation.analysis.shocks import shocks_of
from groundstation.analysis.stabiliser import Verdict, verdict_of, wrapped_deg
from groundstation.analysis.yaw import YawBand, yaw_of
from groundstation.analysis.yaw_model import CarGeometry
from groundstation.simulator.damping import yaw_mode
from groundstation.simulator.downlink import Downlink
from groundstation.simulator.driver_plan import DriverPlan, Pass, Wait
from groundstation.simulator.firmware import IDENT_FRAMES, Firmware
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.world import World
from groundstation.simulator.yaw import StabiliserParameters, YawParameters
from groundstation.vehicle.peaks import CLIPPED_AT
from protocol import batch
from tests.benchmarks._analysis_rows import Row
from tests.benchmarks._analysis_yaw_bound import Bound, bound_of
from tests.benchmarks._shares import wilson

WHEELBASE_M = 0.33
LOCK_DEG = 12.0
MOST_ERROR = 0.03
"""To be reached by the median error of frequency (a share) and of damping ratio."""
LEAST_RIGHT = 0.95
NEUTRAL_DEG = 15.0
"""Loop phases nearer than this to quadrature are not judged."""
LONGEST_S = 30.0
SAME_SHOCK_S = 0.08
LIGHTLY_DAMPED = 0.3
"""Below it a car can be said to oscillate: above, less than a swing and a half can be seen."""


@dataclass(frozen=True, slots=True)
class BandResult:
    """One band of one pass; errors are NaN where the analysis cannot tell."""

    frequency_error: float
    """As a share."""
    true_damping: float
    damping_error: float
    held: float
    """1 where the interval holds the true damping ratio."""
    damping_error_untold: float
    """When the analysis knows no dimension of the car."""
    bound: tuple[tuple[float, float], ...]
    """Errors of frequency and damping ratio that the pass allows, drawn."""
    judged: bool
    """True phase far enough from neutral."""
    told: bool
    """The analysis gave a verdict."""
    right: bool


@dataclass(frozen=True, slots=True)
class PassResult:
    """One pass."""

    bands: tuple[BandResult, ...]
    clipped: int
    """True peaks beyond the full scale, in frames that arrived."""
    flagged: int
    """Of those, by the analysis."""
    measured: int
    """True shocks within the full scale that the analysis calls clipped."""


def drawn(seed: int) -> Scenario:
    """Return an invented car and its one pass."""
    source = np.random.default_rng([20311, seed])
    front_m = source.uniform(0.135, 0.160)
    base = scenario_named("oscillation_after")
    yaw = YawParameters(
        front_m=front_m,
        rear_m=WHEELBASE_M - front_m,
        inertia_kg_m2=source.uniform(0.09, 0.14),
        front_stiffness_n_per_rad=source.uniform(280.0, 420.0),
        rear_stiffness_n_per_rad=source.uniform(320.0, 460.0),
        grip=source.uniform(0.8, 1.2),
        steering_lock_deg=LOCK_DEG,
        servo_lag_s=source.uniform(0.02, 0.045),
        road_length_m=source.uniform(0.5, 1.2),
        road_yaw_per_mps=source.uniform(0.04, 0.11),
    )
    stabiliser = StabiliserParameters(
        gain_percent_per_dps=source.uniform(0.03, 0.30), delay_s=source.uniform(0.02, 0.12)
    )
    leg = Pass(lift_at_m=source.uniform(120.0, 270.0), throttle=source.uniform(0.35, 1.0))
    road = replace(base.course.road, joint_slope=source.uniform(0.003, 0.012))
    return replace(
        base,
        car=replace(base.car, yaw=yaw, stabiliser=stabiliser),
        course=replace(base.course, road=road),
        plan=DriverPlan(legs=(Wait(0.5), leg)),
    )


def run_pass(seed: int) -> PassResult | None:
    """Return one pass judged; None where the car was lost, as an unstable one is."""
    scenario = drawn(seed)
    world, firmware = World(scenario, seed=seed), Firmware(scenario, seed=seed)
    downlink = Downlink(scenario.telemetry, seed=seed)
    heard: list[bytes] = []
    peaks_g: list[float] = []
    while world.t_s < LONGEST_S and not (world.t_s > 3.0 and world.speed_mps < 0.01):
        # Ident goes out before motion.
        motion_at = int(world.frame % IDENT_FRAMES == 0)
        world.advance()
        if world.tumble is not None:
            return None
        for index, data in enumerate(firmware.frames(world)):
            if downlink.arrival_s(world.t_s) is not None:
                heard.append(data)
                if index == motion_at:
                    peaks_g.append(max(map(abs, world.samples_g[2])))
    frames = batch.decode(b"".join(heard))
    vehicle = frames.first_vehicle
    assert vehicle is not None
    record = record_of(frames, vehicle=vehicle)
    spans = find_passes(record)
    if len(spans) != 1:
        return None
    geometry = CarGeometry(wheelbase_m=WHEELBASE_M, steering_lock_deg=LOCK_DEG)
    told, untold = yaw_of(record, spans[0], geometry), yaw_of(record, spans[0])
    bound = bound_of(record, spans[0], scenario.car, geometry=geometry, seed=seed)
    bands = tuple(
        _judged(scenario, band, blind, bound)
        for band, blind in zip(told.bands, untold.bands, strict=True)
    )
    return PassResult(bands, *_clipping(record, spans[0], np.array(peaks_g), scenario))


def _clipping(
    record: Record, span: PassSpan, peaks_g: Floats, scenario: Scenario
) -> tuple[int, int, int]:
    """Return true peaks beyond the full scale, those flagged, and flags without such a peak."""
    inertial, t_s = scenario.sensors.inertial, record.motion.t_s
    # The sensor's bias shifts what the peak reads.
    bias_g = 4.0 * inertial.accel_bias_g
    inside = (t_s >= span.start_s) & (t_s <= span.end_s)
    beyond_s = t_s[inside & (peaks_g > inertial.accel_full_scale_g + bias_g)]
    near_s = t_s[inside & (peaks_g > CLIPPED_AT * inertial.accel_full_scale_g - bias_g)]
    flags_s = np.array([shock.t_s for shock in shocks_of(record, span, None) if shock.clipped])

    def met(some_s: Floats, others_s: Floats) -> int:
        if not len(some_s) or not len(others_s):
            return 0
        return int((np.abs(some_s[:, None] - others_s).min(axis=1) < SAME_SHOCK_S).sum())

    return len(beyond_s), met(beyond_s, flags_s), len(flags_s) - met(flags_s, near_s)


def _judged(scenario: Scenario, band: YawBand, untold: YawBand, bound: Bound | None) -> BandResult:
    yaw, stabiliser = scenario.car.yaw, scenario.car.stabiliser
    damping, frequency_hz = yaw_mode(
        band.mean_speed_mps, yaw=yaw, stabiliser=stabiliser, mass_kg=scenario.car.drive.mass_kg
    )
    omega = 2.0 * pi * frequency_hz
    phase_deg = wrapped_deg(
        180.0 - degrees(omega * stabiliser.delay_s) - degrees(atan(omega * yaw.servo_lag_s))
    )
    truth = verdict_of(phase_deg, NEUTRAL_DEG)
    verdict = band.response.verdict if band.response else Verdict.CANNOT_TELL
    held = float("nan")
    if band.damping_low is not None and band.damping_high is not None:
        held = float(band.damping_low <= damping <= band.damping_high)
    gain_s = stabiliser.gain_percent_per_dps / 100.0 / radians(1.0)
    least = (
        bound.errors(band.mean_speed_mps, gain_s=gain_s, delay_s=stabiliser.delay_s)
        if bound
        else []
    )
    return BandResult(
        frequency_error=_less(band.mode_hz, frequency_hz) / frequency_hz
        if frequency_hz > 0.0
        else float("nan"),
        true_damping=damping,
        damping_error=_less(band.damping_ratio, damping),
        held=held,
        damping_error_untold=_less(untold.damping_ratio, damping),
        bound=tuple(least),
        judged=truth is not Verdict.CANNOT_TELL,
        told=verdict is not Verdict.CANNOT_TELL,
        right=verdict is truth,
    )


def _less(value: float | None, truth: float) -> float:
    return float("nan") if value is None else value - truth


def rows(passes: int, seed: int) -> list[Row]:
    """Return figures over `passes` drawn passes, the seeds from `seed` on."""
    with Pool(2) as pool:
        found = pool.map(run_pass, range(seed, seed + passes), chunksize=5)
    results = [each for each in found if each is not None]
    bands = list(chain.from_iterable(each.bands for each in results))

    def column(name: str, under: float = inf) -> Floats:
        values = [getattr(band, name) for band in bands if band.true_damping < under]
        known = np.array(values, dtype=float)
        return known[~np.isnan(known)]

    frequency, damping = np.abs(column("frequency_error")), np.abs(column("damping_error"))
    swaying_hz = np.abs(column("frequency_error", LIGHTLY_DAMPED))
    swaying = np.abs(column("damping_error", LIGHTLY_DAMPED))
    untold = np.abs(column("damping_error_untold"))
    held = column("held")
    least = np.abs(np.array(list(chain.from_iterable(band.bound for band in bands))))
    judged = [band for band in bands if band.judged]
    answered = [band for band in judged if band.told]
    clipped = sum(each.clipped for each in results)
    return [
        Row("passes analysed", float(len(results))),
        Row("speed bands", float(len(bands))),
        _median("yaw frequency", frequency, most=MOST_ERROR),
        _share("yaw frequency: within 3 %", *_within(frequency)),
        _median("yaw frequency at best", least[:, 0]),
        Row("yaw frequency at best: within 3 %", float((least[:, 0] <= MOST_ERROR).mean())),
        _median(f"yaw frequency under {LIGHTLY_DAMPED}", swaying_hz),
        _median("damping ratio", damping, most=MOST_ERROR),
        _ninth("damping ratio", damping),
        _median(f"damping ratio under {LIGHTLY_DAMPED}", swaying),
        _ninth(f"damping ratio under {LIGHTLY_DAMPED}", swaying),
        _share("damping ratio: within 0.03", *_within(damping)),
        _median("damping ratio at best", least[:, 1]),
        Row("damping ratio at best: within 0.03", float((least[:, 1] <= MOST_ERROR).mean())),
        _share("damping ratio: told at all", len(damping), len(bands)),
        _share("damping ratio: interval holds truth", int(held.sum()), len(held)),
        _median("damping ratio, no dimension told", untold),
        _ninth("damping ratio, no dimension told", untold),
        _share(
            "damps or feeds: right",
            sum(band.right for band in answered),
            len(answered),
            least=LEAST_RIGHT,
        ),
        _share("damps or feeds: told at all", len(answered), len(judged)),
        _share("clipped peaks flagged", sum(each.flagged for each in results), clipped, least=1.0),
        _none_of("measured shocks called clipped", sum(each.measured for each in results)),
    ]


def _within(errors: Floats) -> tuple[int, int]:
    return int((errors <= MOST_ERROR).sum()), len(errors)


def _median(name: str, errors: Floats, *, most: float | None = None) -> Row:
    figure = float(np.median(errors))
    target, met = ("", None) if most is None else (f"<= {most:g}", figure <= most)
    return Row(f"{name}: median error", figure, target=target, met=met)


def _ninth(name: str, errors: Floats) -> Row:
    return Row(f"{name}: 90 % of errors under", float(np.quantile(errors, 0.9)))


def _none_of(name: str, count: int) -> Row:
    return Row(name, float(count), target="0", met=count == 0)


def _share(name: str, hits: int, count: int, *, least: float | None = None) -> Row:
    share = hits / count if count else float("nan")
    target, met = ("", None) if least is None else (f">= {least:g}", share >= least)
    return Row(name, share, interval=wilson(hits, count), target=target, met=met)
