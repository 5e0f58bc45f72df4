"""What the comparison says of invented passes."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pytest

from groundstation.analysis.compare import compare, holm
from groundstation.analysis.compare_effect import Verdict
from groundstation.analysis.compare_trial import Better, FigureKind, PassFigures, Unit

PEAK = FigureKind("peak speed", "m/s", Better.HIGHER)
YAW = FigureKind("yaw amplitude", "deg/s", Better.LOWER)


def driven(session: str, gain: float, values: list[float], **more: object) -> list[PassFigures]:
    setup = {"gyro": {"gain": gain}, **more}
    return [PassFigures(session, setup, {"peak speed": value}) for value in values]


def test_holm() -> None:
    # Reckoned by hand: .01 * 4, .02 * 3, then never less than the one before.
    assert holm([0.04, 0.01, 0.03, 0.02]) == pytest.approx([0.06, 0.04, 0.06, 0.06])
    assert holm([0.9, 0.8]) == [1.0, 1.0]
    assert holm([]) == []


def test_three_and_three_are_too_few() -> None:
    passes = driven("one", 1.0, [10.0, 10.1, 10.2]) + driven("two", 2.0, [20.0, 20.1, 20.2])
    (change,) = compare(passes, [PEAK]).changes
    (effect,) = change.effects
    assert effect.verdict is Verdict.TOO_FEW
    assert effect.least_p == pytest.approx(0.10)
    assert effect.p_corrected is None
    assert "smallest possible p is 0.10" in effect.words
    assert "no difference" not in effect.words


def test_a_clear_change_in_one_session_each() -> None:
    low, high = [40.0, 40.3, 40.1, 40.2, 39.9], [42.0, 42.2, 42.1, 41.9, 42.3]
    found = compare(driven("one", 1.0, low) + driven("two", 2.0, high), [PEAK])
    (change,) = found.changes
    (effect,) = change.effects
    assert change.words == "gyro.gain 1 to 2"
    assert effect.verdict is Verdict.BETTER
    assert effect.permuted is Unit.PASSES
    assert effect.difference == pytest.approx(2.0)
    assert effect.low is not None
    assert effect.high is not None
    assert 1.5 < effect.low < 2.0 < effect.high < 2.5
    assert any("one session only" in each for each in change.warnings)
    down = compare(driven("one", 1.0, high) + driven("two", 2.0, low), [PEAK])
    assert down.changes[0].effects[0].verdict is Verdict.WORSE


def test_sessions_are_the_unit_where_there_are_several() -> None:
    # Sessions scatter by far more than passes do: dealing out passes would see a change.
    source = np.random.default_rng(8)
    passes = []
    for number in range(8):
        level = 40.0 + 3.0 * source.normal()
        passes += driven(f"s{number}", 1.0 + number % 2, [level + 0.1 * k for k in range(6)])
    (change,) = compare(passes, [PEAK]).changes
    (effect,) = change.effects
    assert effect.permuted is Unit.SESSIONS
    assert (effect.sessions_before, effect.sessions_after) == (4, 4)
    assert effect.least_p == pytest.approx(2 / 70)
    assert effect.verdict is Verdict.CANNOT_TELL
    assert "may be luck" in effect.words
    assert "sessions (4 and 4)" in effect.words


def test_false_alarms_are_as_rare_as_promised() -> None:
    source = np.random.default_rng(21)
    alarms = 0
    for _ in range(200):
        passes = []
        for number in range(8):
            level = 40.0 + source.normal()
            values = (level + 0.2 * source.normal(size=4)).tolist()
            passes += driven(f"s{number}", 1.0 + number % 2, values)
        (effect,) = compare(passes, [PEAK]).changes[0].effects
        alarms += effect.verdict is not Verdict.CANNOT_TELL
    assert alarms / 200 <= 0.09


def test_passes_within_their_session() -> None:
    passes = []
    for session, level in (("one", 40.0), ("two", 60.0)):
        passes += driven(session, 1.0, [level, level + 0.1, level + 0.2])
        passes += driven(session, 2.0, [level + 1.0, level + 1.1, level + 1.2])
    (effect,) = compare(passes, [PEAK]).changes[0].effects
    assert effect.permuted is Unit.PASSES_WITHIN
    assert effect.difference == pytest.approx(1.0)
    assert effect.verdict is Verdict.BETTER


def test_two_changes_at_once_are_named() -> None:
    passes = driven("one", 1.0, [40.0] * 5, tyre="soft") + driven(
        "two", 2.0, [42.0] * 5, tyre="hard"
    )
    (change,) = compare(passes, [PEAK]).changes
    assert change.change.keys == ("gyro.gain", "tyre")
    assert any("gyro.gain and tyre were changed together" in each for each in change.warnings)


def test_partly_varied_is_named() -> None:
    passes = driven("one", 1.0, [40.0, 40.1], tyre="soft")
    passes += driven("two", 2.0, [41.0, 41.1], tyre="soft")
    passes += driven("three", 2.0, [42.0, 42.1], tyre="hard")
    found = compare(passes, [PEAK])
    assert any("tyre differs too" in each for each in found.changes[0].warnings)


def test_what_was_not_measured() -> None:
    passes = driven("one", 1.0, [40.0] * 4) + driven("two", 2.0, [41.0] * 4)
    (effect,) = compare(passes, [YAW]).changes[0].effects
    assert effect.verdict is Verdict.TOO_FEW
    assert effect.difference is None
    assert effect.mean_before is None
    assert "not measured" in effect.words


def test_no_change_no_comparison() -> None:
    found = compare(driven("one", 1.0, [40.0, 41.0]), [PEAK])
    assert found.changes == ()
    assert "do not differ" in found.words
    assert compare([], [PEAK]).changes == ()


def test_corrected_for_the_number_of_figures() -> None:
    source = np.random.default_rng(4)
    kinds = [FigureKind(f"figure {number}") for number in range(5)]
    passes = [
        PassFigures(
            f"s{side}",
            {"a": side},
            {kind.name: float(source.normal() + 4.0 * side) for kind in kinds},
        )
        for side in (0, 1)
        for _ in range(6)
    ]
    found = compare(passes, kinds)
    assert found.tested == 5
    for effect in found.changes[0].effects:
        assert effect.p is not None
        assert effect.p_corrected is not None
        assert effect.p <= effect.p_corrected <= 5.0 * effect.p
        assert effect.verdict in (Verdict.HIGHER, Verdict.CANNOT_TELL)
        assert "corrected for 5 figures" in effect.words


def test_goes_into_json() -> None:
    passes = driven("one", 1.0, [10.0, 10.1, 10.2]) + driven("two", 2.0, [20.0, 20.1, 20.2])
    told = json.loads(json.dumps(asdict(compare(passes, [PEAK])), allow_nan=False))
    assert told["changes"][0]["effects"][0]["verdict"] == "too few runs"
