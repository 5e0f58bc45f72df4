"""What the tests of importing share: a log read by its guess, and its columns in a session."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from groundstation.importing.csv_log import csv_log, guess_csv
from groundstation.importing.frames import inbound_of
from groundstation.importing.guess import Guess
from groundstation.importing.log import ForeignLog
from groundstation.inbound import BytesReceived
from protocol import Table, standard_table
from protocol.batch import Batch, decode

TABLE = standard_table()


def read_by_guess(path: Path, rate_hz: float | None = None) -> tuple[Guess, ForeignLog]:
    guess, columns = guess_csv(path, TABLE, rate_hz=rate_hz)
    return guess, csv_log(columns, guess.map, TABLE)


def table_of(log: ForeignLog) -> Table:
    return TABLE.extended(log.channels_text, "test") if log.channels_text else TABLE


def recorded(log: ForeignLog) -> Batch:
    """Return the frames that a session of the log holds, decoded as after any run."""
    table = table_of(log)
    inbounds = inbound_of(log, table, vehicle=1, vehicle_name="test", source="test")
    chunks = [each for each in inbounds if isinstance(each, BytesReceived)]
    return decode(
        b"".join(chunk.data for chunk in chunks),
        np.array([chunk.at_s for chunk in chunks]),
        np.array([len(chunk.data) for chunk in chunks], np.uint32),
        table,
    )


def channels_of(guess: Guess) -> Mapping[str, tuple[str | None, str, int]]:
    """Return channel, unit and sign by column."""
    return {each.name: (each.channel, each.unit, each.sign) for each in guess.columns}
