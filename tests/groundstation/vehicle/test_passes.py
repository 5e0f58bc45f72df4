from __future__ import annotations

from groundstation.vehicle.passes import SILENT_S, Passes

LIMITS = {"begin_mps": 8.0, "end_mps": 2.0}


def drive(passes: Passes, *speeds_mps: float) -> list[bool]:
    return [
        passes.take_speed(speed, float(second), **LIMITS) for second, speed in enumerate(speeds_mps)
    ]


def test_a_pass_lasts_from_the_higher_speed_to_the_lower() -> None:
    passes = Passes()
    ended = drive(passes, 0.0, 5.0, 9.0, 40.0, 7.0, 3.0, 1.0, 0.0)
    assert ended == [False, False, False, False, False, False, True, False]
    assert passes.newest is not None
    assert passes.newest.peak_speed_mps == 40.0
    assert (passes.newest.started_vehicle_s, passes.newest.ended_vehicle_s) == (2.0, 6.0)
    assert passes.completed == 1


def test_rolling_about_is_no_pass() -> None:
    passes = Passes()
    drive(passes, 0.0, 7.9, 3.0, 7.9, 0.0)
    assert passes.newest is None
    assert passes.completed == 0


def test_passes_are_counted() -> None:
    passes = Passes()
    drive(passes, 0.0, 30.0, 0.0, 25.0)
    assert passes.newest is not None
    assert (passes.newest.number, passes.completed, passes.running) == (2, 1, True)


def test_silence_ends_a_pass() -> None:
    passes = Passes()
    assert not passes.end_if_silent(100.0)
    drive(passes, 30.0)
    assert not passes.end_if_silent(SILENT_S - 0.1)
    assert passes.end_if_silent(SILENT_S)
    assert not passes.end_if_silent(SILENT_S)


def test_margin_and_shocks_belong_to_the_pass_that_runs() -> None:
    passes = Passes()
    passes.take_margin(-5.0)
    passes.take_shock(30.0, clipped=True)
    drive(passes, 30.0)
    for margin_db in (12.0, 8.0, 9.0):
        passes.take_margin(margin_db)
    passes.take_shock(4.0, clipped=False)
    passes.take_shock(None, clipped=False)
    assert passes.newest is not None
    assert passes.newest.lowest_margin_db == 8.0
    assert (passes.newest.accel_z_max_g, passes.newest.clipped) == (4.0, False)
