"""Files that are damaged, or made to hurt: nothing hangs, runs or is taken for a value."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from groundstation.errors import GroundstationError, SessionFileError, UsageError
from groundstation.importing import lines
from groundstation.importing.cells import number
from groundstation.importing.formats import format_of
from groundstation.importing.log import usable_times
from tests.groundstation.importing.reading import read_by_guess, recorded


def good_rows(count: int = 60) -> list[str]:
    return [f"{n / 10:.1f},{n % 7},{0.5}" for n in range(count)]


def imported(
    tmp_path: Path, rows: list[str], head: str = "time,speed,accel z"
) -> tuple[Counter[str], np.ndarray]:
    path = tmp_path / "log.csv"
    path.write_bytes("\n".join([head, *rows]).encode("utf-8", "surrogateescape"))
    _, log = read_by_guess(path)
    return Counter(log.counts), recorded(log).column("speed_mps")


def test_rows_that_cannot_be_are_left_out_and_counted(tmp_path: Path) -> None:
    rows = good_rows()
    rows[10] = "1.0,2"
    rows[20] = "2.0,3,1,1,1"
    rows[30] = '3.0,"4,0.5'
    rows[40] = "4.0,\x005,0.5"
    rows[50] = "5.0," + "9" * 100_000 + ",0.5"
    counts, speed = imported(tmp_path, rows)
    assert counts["rows of another width"] == 2
    assert counts["lines with a quote that is never closed"] == 1
    assert counts["lines with zero bytes"] == 1
    assert counts["lines too long to be true"] == 1
    assert len(speed) == 55


def test_cells_that_are_no_numbers_are_unknown_and_never_zero(tmp_path: Path) -> None:
    rows = good_rows()
    for row, cell in enumerate(
        [
            "=1+1",
            "+cmd|' /C calc'!A0",
            "@SUM(1)",
            "nan",
            "inf",
            "-Infinity",
            "0x10",
            "1_0",
            "",
            "--",
        ],
        start=5,
    ):
        rows[row] = f"{row / 10:.1f},{cell},0.5"
    _, speed = imported(tmp_path, rows)
    assert np.isnan(speed[5:15]).all()
    assert speed[16] == 2.0


def test_values_beyond_the_range_are_clamped_and_counted(tmp_path: Path) -> None:
    rows = good_rows()
    rows[5], rows[6] = "0.5,1e308,0.5", "0.6,-4,0.5"
    counts, speed = imported(tmp_path, rows)
    assert counts["values of speed_mps beyond 0 to 655, clamped"] == 2
    assert (speed[5], speed[6]) == (655.0, 0.0)


def test_times_that_cannot_be_are_left_out(tmp_path: Path) -> None:
    rows = good_rows()
    rows[5], rows[6], rows[7], rows[8] = "-99,1,1", "nan,1,1", "1e308,1,1", "x,1,1"
    counts, speed = imported(tmp_path, rows)
    assert counts["rows without a usable time"] == 4
    assert len(speed) == 56


def test_a_clock_that_is_set_later_costs_only_the_rows_before() -> None:
    counts: Counter[str] = Counter()
    usable = usable_times(np.array([1.7e9, 0.0, 0.1, 0.2, 0.2, 0.1, 0.3]), counts)
    assert usable.tolist() == [False, True, True, True, True, False, True]
    leap = usable_times(np.array([0.0, 0.1, 0.2, 9000.0, 0.3, 0.4]), Counter())
    assert leap.tolist() == [True, True, True, False, True, True]
    with pytest.raises(SessionFileError, match="more than a day"):
        usable_times(np.arange(0, 200_000, 1000.0), counts)
    with pytest.raises(SessionFileError, match="No row"):
        usable_times(np.full(5, np.nan), counts)


def test_names_that_would_do_something_elsewhere_become_plain_channels(tmp_path: Path) -> None:
    head = "time,speed,=HYPERLINK(x)\x1b[2J../../etc"
    path = tmp_path / "log.csv"
    path.write_text("\n".join([head, *good_rows()]))
    guess, log = read_by_guess(path)
    own = guess.columns[-1].channel
    assert own is not None
    assert own.replace("_", "").isalnum()
    assert log.series


def test_names_of_our_own_fields_are_not_taken_twice(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "\n".join(["time,flags,own channel,Own Channel", *(r + ",1" for r in good_rows())])
    )
    guess, log = read_by_guess(path)
    channels = [each.channel for each in guess.columns]
    assert len(set(channels)) == len(channels)
    recorded(log)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time,speed,Öl °C", *good_rows()]), encoding=encoding)
    guess, _ = read_by_guess(path)
    assert [each.name for each in guess.columns] == ["speed", "Öl °C"]


@pytest.mark.parametrize(
    "content",
    [
        b"\x00" * 5000,
        b"\xff\xfe" * 500,
        b"a" * 3_000_000,
        b"hello\nworld\n",
        b",,,,\n" * 1000,
        b"1,2\n",
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20,
        b'"' * 10_000,
        b"1," * 100_000 + b"\n",
    ],
)
def test_what_is_no_log_ends_in_one_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(content)
    with pytest.raises(GroundstationError):
        read_by_guess(path)


def test_files_that_are_none_or_too_long_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(SessionFileError, match="is not a file"):
        format_of(tmp_path)
    with pytest.raises(SessionFileError, match="does not exist"):
        format_of(tmp_path / "none.csv")
    (tmp_path / "empty.csv").touch()
    with pytest.raises(SessionFileError, match="is empty"):
        format_of(tmp_path / "empty.csv")
    (tmp_path / "long.csv").write_text("time,speed\n" + "0,1\n" * 100)
    monkeypatch.setattr(lines, "MAX_FILE_BYTES", 100)
    with pytest.raises(SessionFileError, match="longer than"):
        format_of(tmp_path / "long.csv")


def test_a_log_without_times_asks_for_a_rate(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("speed,accel z\n" + "\n".join(f"{n % 5},1" for n in range(50)))
    with pytest.raises(UsageError, match="--rate"):
        read_by_guess(path)
    _, log = read_by_guess(path, rate_hz=25.0)
    assert log.end_at_s == pytest.approx(49 / 25)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(st.binary(max_size=400))
def test_garbage_never_raises_anything_of_its_own(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"time,speed\n0,1\n0.1,2\n0.2,3\n" + data)
    try:
        _, log = read_by_guess(path)
    except GroundstationError:
        return
    recorded(log)


@given(st.text(max_size=80))
@example("1e999")
@example("9" * 400)
def test_a_cell_is_a_finite_number_or_unknown(text: str) -> None:
    value = number(text)
    assert np.isnan(value) or np.isfinite(value)
