"""What is fuzzed: each target takes any bytes and raises only for a defect of ours."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from itertools import count
from pathlib import Path

from groundstation.cli.json_lines import JsonLines
from groundstation.errors import GroundstationError
from groundstation.importing.column_map import map_text, parse_map
from groundstation.importing.csv_log import csv_log, guess_csv
from groundstation.importing.formats import LogFormat, format_of
from groundstation.importing.frames import inbound_of
from groundstation.importing.gpx import gpx_log
from groundstation.importing.lines import encoding_of
from groundstation.importing.nmea import nmea_log
from groundstation.inbound import BytesReceived
from groundstation.recording import checks
from groundstation.recording.capture import open_tape
from groundstation.settings import Settings, parse_toml
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicles import VehicleFile
from protocol import TableError, standard_table
from protocol.framing import MAX_DECODED_BYTES, wrap
from tests.protocol.streams import TABLE, Recording, hear
from tests.protocol.test_batch import assert_equal, batch_of

LONGEST_BODY = MAX_DECODED_BYTES - 2


def receiver(data: bytes) -> None:
    """Bytes off the air, in uneven chunks: the batch decoder hears what the receiver hears."""
    _compare(data)


def frames(data: bytes) -> None:
    """Frames with a good CRC and anything inside."""
    _compare(b"".join(wrap(body) for body in _bodies(data)))


def core(data: bytes) -> None:
    """The same through the whole core: forecast, level, snapshot."""
    telemetry = Telemetry(VehicleProfile(threshold_dbm=-100.0))
    lines = JsonLines(standard_table(), io.StringIO())
    for tick, body in zip(count(), _bodies(data)):
        for event in telemetry.handle(BytesReceived(0.05 * tick, wrap(body))):
            lines.happened(event)
        for event in telemetry.tick(0.05 * tick):
            lines.happened(event)
        lines.ticked(tick, telemetry)


def session(data: bytes) -> None:
    """A session file, or a raw capture."""
    with tempfile.NamedTemporaryFile(suffix=".session") as file:
        file.write(data)
        file.flush()
        try:
            tape = open_tape(Path(file.name))
            list(tape.inbound())
            list(tape.inbound(2.0))
            tape.columns()
            tape.events()
            tape.checkpoint_before(1.0)
        except GroundstationError:
            pass


def csv(data: bytes) -> None:
    """A table of another logger: guessed, read, and sent as our own frames."""
    _log(data, ".csv")


def nmea(data: bytes) -> None:
    """NMEA 0183 sentences."""
    _log(data, ".nmea")


def gpx(data: bytes) -> None:
    """A GPX track."""
    _log(data, ".gpx")


def column_map(data: bytes) -> None:
    """What the columns of a table mean, as TOML."""
    with suppress(GroundstationError):
        parse_map(data.decode("utf-8", errors="replace"), "fuzzed", standard_table())


def check(data: bytes) -> None:
    """A stored range check."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"fuzzed{checks.SUFFIX}").write_bytes(data)
        for stored in checks.list_checks(Path(folder)):
            if stored.record is not None:
                json.dumps(checks.record_as_json(stored.record), allow_nan=False)


def settings(data: bytes) -> None:
    """Settings."""
    _toml(data, Settings)


def vehicle(data: bytes) -> None:
    """A vehicle's file."""
    _toml(data, VehicleFile)


def kinds(data: bytes) -> None:
    """A builder's own kinds."""
    text = data.decode("utf-8", errors="replace")
    with contextlib.suppress(TableError):
        standard_table().extended(text, "fuzzed")


TARGETS: dict[str, Callable[[bytes], None]] = {
    each.__name__: each
    for each in (
        receiver,
        frames,
        core,
        session,
        csv,
        nmea,
        gpx,
        column_map,
        check,
        settings,
        vehicle,
        kinds,
    )
}


def _toml(data: bytes, shape: type[Settings] | type[VehicleFile]) -> None:
    text = data.decode("utf-8", errors="replace")
    with contextlib.suppress(GroundstationError):
        parse_toml(text, "fuzzed", shape)


def _log(data: bytes, suffix: str) -> None:
    with tempfile.NamedTemporaryFile(suffix=suffix) as file:
        file.write(data)
        file.flush()
        path, table = Path(file.name), standard_table()
        with suppress(GroundstationError, TableError):
            match format_of(path):
                case LogFormat.GPX:
                    log = gpx_log(path, table)
                case LogFormat.NMEA:
                    log = nmea_log(path, encoding_of(path), table)
                case LogFormat.CSV:
                    guess, columns = guess_csv(path, table)
                    assert parse_map(map_text(guess.map), "guessed", table) == guess.map
                    log = csv_log(columns, guess.map, table)
            if log.channels_text:
                table = table.extended(log.channels_text, "fuzzed")
            times = [
                each.at_s
                for each in inbound_of(log, table, vehicle=1, vehicle_name="fuzzed", source="")
            ]
            assert times == sorted(times)


def _bodies(data: bytes) -> Iterator[bytes]:
    """Cut data into bodies: a length, then so many bytes."""
    place = 0
    while place < len(data):
        size = min(data[place], LONGEST_BODY)
        yield data[place + 1 : place + 1 + size]
        place += 1 + size


def _compare(stream: bytes) -> None:
    sizes, rest = list[int](), len(stream)
    while rest:
        sizes.append(min(1 + 7 * len(sizes) % 64, rest))
        rest -= sizes[-1]
    recording = Recording(stream, tuple(sizes), tuple(0.01 * n for n in range(len(sizes))), ())
    assert_equal(batch_of(recording), hear(recording, TABLE))
