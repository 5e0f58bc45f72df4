"""A recording's columns as files: one table a kind of frame, every channel a column.

Values are those of the live screen, bit for bit; unknown is empty. The first columns say when: the
session clock, the vehicle's clock unrolled, the sequence number.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.exporting.files import room_for
from groundstation.recording.decoded import decode_tape
from groundstation.recording.tape import Tape
from groundstation.whole_file import written_whole
from protocol import Kind, Table
from protocol.batch import Batch

if TYPE_CHECKING:
    import pandas as pd


def kind_frame(batch: Batch, kind: Kind, vehicle: int) -> pd.DataFrame:
    """Return one kind's frames of one vehicle as a table, a row a frame, in order of arrival."""
    import pandas as pd

    columns: dict[str, object] = {
        "at_s": batch.times(kind.name, vehicle).at_s,
        "vehicle_s": batch.times(kind.name, vehicle).vehicle_s,
        "sequence": batch.times(kind.name, vehicle).sequence,
    }
    for field in kind.fields:
        for channel in field.channels:
            column = batch.column(channel, vehicle)
            if field.bits:
                # A flag that is not known must not read as one that is not set.
                known = batch.known(channel, vehicle)
                column = np.where(known, column.astype(object), np.array(None, dtype=object))
            columns[channel] = column
    return pd.DataFrame(columns)


def export_kinds(
    tape: Tape,
    table: Table,
    *,
    folder: Path,
    stem: str,
    file_format: Literal["csv", "parquet"],
    vehicle: int | None = None,
    overwrite: bool = False,
) -> list[tuple[Path, int]]:
    """Write a file for each kind of frame in the recording; return the files and their rows.

    Args:
        tape: The recording.
        table: Its frame table.
        folder: Where the files go; made if it is not there.
        stem: How their names begin.
        file_format: "csv" or "parquet".
        vehicle: Vehicle number; None takes the first one heard.
        overwrite: Whether files that are there may be replaced.

    Raises:
        SessionFileError: Nothing in the recording can be exported, or a file cannot be written.
        UsageError: A file is there already.
    """
    batch = decode_tape(tape, table)
    if vehicle is None:
        vehicle = batch.first_vehicle
    if vehicle is None:
        raise SessionFileError("there is no good frame in this recording")
    kinds = [kind for kind in table.kinds if len(batch.times(kind.name, vehicle).at_s)]
    paths = {kind.name: folder / f"{stem}.{kind.name}.{file_format}" for kind in kinds}
    with room_for(paths.values(), folder=folder, overwrite=overwrite):
        return list(_write(batch, kinds, paths, vehicle))


def _write(
    batch: Batch, kinds: list[Kind], paths: dict[str, Path], vehicle: int
) -> Iterator[tuple[Path, int]]:
    for kind in kinds:
        frame, path = kind_frame(batch, kind, vehicle), paths[kind.name]
        with written_whole(path) as part:
            if path.suffix == ".parquet":
                frame.to_parquet(part, index=False, compression="zstd")
            else:
                frame.to_csv(part, index=False)
        yield path, len(frame)
