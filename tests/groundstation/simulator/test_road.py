"""Joints and the shocks they give."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.simulator.inertial import clip
from groundstation.simulator.road import Joint, Road, RoadParameters, Shock, lay_joints
from groundstation.units import STANDARD_GRAVITY_MPS2


def push_g(shock: Shock, step_s: float) -> np.ndarray:
    times_s = np.arange(0.0, shock.duration_s, step_s) + shock.start_s
    return np.array([shock.at_g(t) for t in times_s.tolist()])


@pytest.mark.parametrize(
    ("peak_g", "duration_s", "change_mps", "clipped_mps"),
    # Half-sine: dv = 2 A T / pi; clipped at 16 g (computed by integration).
    [(30.0, 0.010, 1.8729, 1.2958), (50.0, 0.005, 1.5608, 0.7039)],
)
def test_half_sine_changes_speed_as_it_should(
    peak_g: float, duration_s: float, change_mps: float, clipped_mps: float
) -> None:
    step_s = 1e-6
    samples = push_g(Shock(0.0, duration_s, peak_g), step_s)
    scale = STANDARD_GRAVITY_MPS2 * step_s
    assert samples.sum() * scale == pytest.approx(change_mps, abs=2e-4)
    bounded, _ = clip(samples.tolist(), 16.0)
    assert sum(bounded) * scale == pytest.approx(clipped_mps, abs=2e-4)


def test_share_of_clipped_samples() -> None:
    # 30 g over 10 ms against 16 g: 64.2 % of the samples stand at full scale.
    fine = push_g(Shock(0.0, 0.010, 30.0), 1e-6)
    assert clip(fine.tolist(), 16.0)[1] / len(fine) == pytest.approx(0.642, abs=5e-4)
    on_board = push_g(Shock(0.0003, 0.010, 30.0), 1e-3)
    assert clip(on_board.tolist(), 16.0)[1] in (6, 7)


def test_a_thousand_samples_a_second_do_not_miss_the_peak() -> None:
    # 30 g over 10 ms: 29.6 to 30 g at 1 kHz, 0 to 30 g at 100 Hz.
    shock = Shock(0.0, 0.010, 30.0)
    starts_s = np.linspace(0.0, 0.001, 50)
    peaks = [max(shock.at_g(s + k * 1e-3) for k in range(10)) for s in starts_s.tolist()]
    assert 29.6 <= min(peaks) <= max(peaks) <= 30.0


def test_a_shock_is_followed_by_a_shallow_drop_and_then_nothing() -> None:
    shock = Shock(1.0, 0.004, 20.0)
    assert shock.at_g(0.999) == 0.0
    assert -4.0 < shock.at_g(1.010) < -2.0
    assert shock.at_g(shock.end_s + 1e-6) == 0.0


def test_joints_belong_to_the_place() -> None:
    parameters = RoadParameters()
    joints = lay_joints(parameters, 4)
    assert joints == lay_joints(parameters, 4)
    assert joints != lay_joints(parameters, 5)
    places = np.array([joint.position_m for joint in joints])
    assert (np.diff(places) > 0).all()
    assert np.diff(places).mean() == pytest.approx(parameters.joint_spacing_m, rel=0.02)


def test_a_joint_is_met_once_in_each_direction_by_both_axles() -> None:
    road = Road(RoadParameters(), seed=1, wheelbase_m=0.33)
    joint = road.joints[30]
    for from_m, to_m in ((-0.2, 0.3), (0.2, -0.3)):
        road.shocks = []
        kick = road.pass_over(
            from_m=joint.position_m + from_m,
            to_m=joint.position_m + to_m,
            t_s=5.0,
            speed_mps=50.0,
        )
        assert kick == pytest.approx(road.parameters.joint_skew_radps_per_mps * 50 * joint.skew)
        first, second = road.shocks
        assert first.start_s == pytest.approx(5.0 + 0.2 / 50.0)
        assert second.start_s - first.start_s == pytest.approx(0.33 / 50.0)
        assert first.duration_s == pytest.approx(road.parameters.joint_length_m / 50.0)
        lift_mps = first.peak_g * STANDARD_GRAVITY_MPS2 * first.duration_s * 2 / np.pi
        assert lift_mps == pytest.approx(joint.slope * 50.0)


def test_past_shocks_are_forgotten() -> None:
    road = Road(RoadParameters(), seed=1, wheelbase_m=0.33)
    at_m = road.joints[30].position_m
    road.pass_over(from_m=at_m - 0.2, to_m=at_m + 0.2, t_s=1.0, speed_mps=40.0)
    assert road.shocks
    assert any(road.lift_g(1.0 + k * 1e-3) > 1.0 for k in range(20))
    road.pass_over(from_m=at_m + 0.2, to_m=at_m + 0.3, t_s=2.0, speed_mps=40.0)
    assert not road.shocks
    assert road.lift_g(2.0) == 0.0


def test_a_pothole_is_one_joint_more() -> None:
    hole = Joint(52.5, 0.05, 1.0)
    plain, holed = RoadParameters(), RoadParameters(potholes=(hole,))
    joints = lay_joints(holed, 3)
    assert set(joints) - set(lay_joints(plain, 3)) == {hole}
    assert [joint.position_m for joint in joints] == sorted(joint.position_m for joint in joints)
    road = Road(holed, seed=3, wheelbase_m=0.33)
    road.pass_over(from_m=52.4, to_m=52.6, t_s=0.0, speed_mps=30.0)
    assert len(road.shocks) == 2
