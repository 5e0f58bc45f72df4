"""Tables of a recording's channels."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from groundstation.errors import SessionFileError, UsageError
from groundstation.exporting.tables import export_kinds
from groundstation.recording.capture import open_capture
from protocol import Sender, standard_table

TABLE = standard_table()


def exported(tmp_path: Path, file_format: str, vehicle: int | None = None) -> pd.DataFrame:
    capture = tmp_path / "run.bin"
    one, two = Sender(vehicle=1), Sender(vehicle=2)
    frames = [
        one.encode("motion", {"speed_mps": 1.25, "brake_on": True}, 0),
        two.encode("motion", {"speed_mps": 9.0}, 5_000),
        one.encode("motion", {"speed_mps": None}, 10_000),
    ]
    capture.write_bytes(b"".join(frames))
    assert file_format in ("csv", "parquet")
    written = export_kinds(
        open_capture(capture, TABLE),
        TABLE,
        folder=tmp_path / "out",
        stem="run",
        file_format="csv" if file_format == "csv" else "parquet",
        vehicle=vehicle,
    )
    assert [rows for _, rows in written] == [1 if vehicle == 2 else 2]
    read = pd.read_csv if file_format == "csv" else pd.read_parquet
    return read(tmp_path / "out" / f"run.motion.{file_format}")


@pytest.mark.parametrize("file_format", ["csv", "parquet"])
def test_unknown_is_empty_and_never_zero_or_false(tmp_path: Path, file_format: str) -> None:
    motion = exported(tmp_path, file_format)
    assert motion["speed_mps"].iloc[0] == 1.25
    assert pd.isna(motion["speed_mps"].iloc[1])
    assert bool(motion["brake_on"].iloc[0]) is True
    assert pd.isna(motion["brake_on"].iloc[1])
    assert list(motion["vehicle_s"]) == [0.0, 0.01]


def test_another_vehicle_can_be_asked_for(tmp_path: Path) -> None:
    assert list(exported(tmp_path, "csv", vehicle=2)["speed_mps"]) == [9.0]


def test_files_are_not_written_over(tmp_path: Path) -> None:
    exported(tmp_path, "csv")
    tape = open_capture(tmp_path / "run.bin", TABLE)
    with pytest.raises(UsageError, match="there already"):
        export_kinds(tape, TABLE, folder=tmp_path / "out", stem="run", file_format="csv")
    (tmp_path / "file").write_text("")
    with pytest.raises(SessionFileError, match="Cannot write"):
        export_kinds(tape, TABLE, folder=tmp_path / "file", stem="run", file_format="csv")
