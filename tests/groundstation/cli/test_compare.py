"""`compare` as its user types it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from groundstation.analysis.compare import compare
from groundstation.analysis.compare_effect import Effect, Verdict
from groundstation.analysis.compare_trial import PassFigures, Unit
from groundstation.analysis.compared_figures import KINDS, figures_of
from groundstation.cli.compare_text import PICTURE_CELLS, picture, row, too_few_words
from groundstation.recording.reader import open_session
from groundstation.units import SpeedUnit
from tests.groundstation.cli.running import run
from tests.groundstation.report.tellings import telling_of
from tests.replay_data import FOLDER


def copied(folder: Path, name: str, setup: dict[str, object] | None) -> str:
    path = Path(shutil.copy(FOLDER / f"{name}.session", folder / f"{name}.session"))
    if setup is not None:
        open_session(path).set_fact("setup", setup)
    return str(path)


def test_sessions_without_set_up_sheets_cannot_be_compared(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    names = [copied(tmp_path, name, None) for name in ("oscillation_before", "oscillation_after")]
    code, out, _ = run(capsys, "compare", *names)
    assert code == 0
    assert "None of these sessions has a set-up sheet" in out


def test_two_runs_cannot_tell_and_say_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    before = copied(tmp_path, "oscillation_before", {"stabiliser": {"gain": 0.9}})
    after = copied(tmp_path, "oscillation_after", {"stabiliser": {"gain": 0.4}})
    code, out, _ = run(capsys, "compare", before, after)
    assert code == 0
    assert "stabiliser.gain" in out
    assert "too few runs" in out
    assert "however large the difference" in " ".join(out.split())


def test_one_object(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    before = copied(tmp_path, "oscillation_before", {"gain": 0.9, "name": "\x1b[2J"})
    after = copied(tmp_path, "oscillation_after", {"gain": 0.4, "name": "\x1b[2J"})
    code, out, _ = run(capsys, "compare", before, after, "--json")
    assert code == 0
    read = json.loads(out)
    assert [each["passes"] for each in read["sessions"]] == [1, 1]
    (change,) = read["changes"]
    assert change["change"]["keys"] == ["gain"]
    effects = {each["figure"]: each for each in change["effects"]}
    assert set(effects) == {kind.name for kind in KINDS}
    # A pass with a clipped shock has no figure for it.
    assert read["passes"][0]["figures"]["hardest shock"] is None
    assert "\x1b" not in out


def test_changes_made_together_are_pointed_out(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    before = copied(tmp_path, "oscillation_before", {"gain": 0.9, "tyres": "\x1b[2Jhard"})
    after = copied(tmp_path, "oscillation_after", {"gain": 0.4, "tyres": "soft"})
    _, out, _ = run(capsys, "compare", before, after)
    assert "changed together" in " ".join(out.split())
    assert "\x1b" not in out


def test_a_session_named_twice_is_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = copied(tmp_path, "oscillation_before", {"gain": 0.9})
    code, _, err = run(capsys, "compare", path, path)
    assert code == 2
    assert "named twice" in err


def test_a_session_that_is_not_there_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "compare", "nothing")
    assert code == 2
    assert "There is no session 'nothing'" in err


def test_figures_of_a_pass() -> None:
    (one,) = telling_of("oscillation_after").analysis.passes
    figures = figures_of(one)
    assert set(figures) == {kind.name for kind in KINDS}
    assert figures["peak speed"] == pytest.approx(54.4, abs=1.0)
    assert figures["braking"] == pytest.approx(8.0, abs=1.0)


def effect(**changed: object) -> Effect:
    values: dict[str, object] = {
        "figure": "peak speed",
        "unit": "m/s",
        "mean_before": 40.0,
        "mean_after": 42.0,
        "passes_before": 5,
        "passes_after": 5,
        "sessions_before": 5,
        "sessions_after": 5,
        "permuted": Unit.SESSIONS,
        "difference": 2.0,
        "low": 1.0,
        "high": 3.0,
        "p": 0.008,
        "p_corrected": 0.008,
        "least_p": 0.008,
        "exact": True,
        "verdict": Verdict.BETTER,
        "words": "",
    }
    return Effect(**{**values, **changed})  # type: ignore[arg-type]


def test_an_effect_is_told_by_shape_and_words() -> None:
    shown = picture(effect())
    assert len(shown) == PICTURE_CELLS
    # Zero, then the interval with the difference in it, all on the right.
    assert shown.strip() == "│ ───●──"
    assert picture(effect(low=None)).startswith("◂")
    assert picture(effect(high=None)).endswith("▸")
    assert picture(effect(difference=None, low=None, high=None)) == ""
    assert row(effect(), SpeedUnit.KMH) == [
        "peak speed km/h",
        "144.0",
        "151.2",
        shown,
        "0.008",
        "better",
    ]
    assert row(effect(verdict=Verdict.CANNOT_TELL), SpeedUnit.MPS)[-1] == "may be luck"
    ratio = effect(unit="", mean_before=0.01687, mean_after=None)
    assert row(ratio, SpeedUnit.KMH)[:3] == ["peak speed", "0.02", "--"]


def test_the_table_fits_80_columns(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    before = copied(tmp_path, "oscillation_before", {"gain": 0.9})
    after = copied(tmp_path, "oscillation_after", {"gain": 0.4})
    _, out, _ = run(capsys, "compare", before, after)
    rows = out.splitlines()
    assert max(map(len, rows)) <= 80
    (yaw,) = (row for row in rows if row.startswith("largest yaw rate"))
    assert yaw.startswith("largest yaw rate deg/s  ")
    assert yaw.rstrip().endswith("too few runs")


def test_enough_runs_are_not_said_to_be_too_few() -> None:
    kinds = KINDS[:1]
    passes = [
        PassFigures(f"{number}", {"gain": str(number >= 4)}, {"peak speed": float(number)})
        for number in range(8)
    ]
    (change,) = compare(passes, kinds).changes
    assert change.effects[0].verdict is Verdict.BETTER
    assert too_few_words(change) is None
    (change,) = compare(passes[2:6], kinds).changes
    assert "2 and 2 sessions" in (too_few_words(change) or "")
