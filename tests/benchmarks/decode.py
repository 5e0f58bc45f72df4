"""A million frames, 1 % damaged, from bytes to columns: the batch decoder beside plain loops.

Baselines, in the same run: the "good loop" (split, COBS and CRC in C a frame, one join, one
`frombuffer`) and the "textbook loop" (the same with `struct.unpack` a frame into tuples). Then, as
whole processes, the same columns from the raw bytes and from a Parquet file (zstd, one thread).
Then one hour of a car, with the arrival of every frame. The machine's speed drifts: ratios count.
"""

from __future__ import annotations

import argparse
import json
import struct
import subprocess
import sys
from binascii import crc_hqx
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Any

import numpy as np
from cobs import cobs
from numpy.typing import NDArray

from protocol.batch import Batch, decode
from protocol.table import HEADER
from tests.benchmarks._frame_streams import (
    TABLE,
    Stream,
    hour_of_all_kinds,
    record_dtype,
    stream_of,
)
from tests.benchmarks._targets import Row

REPEATS = 7
ROOT = Path(__file__).parents[2]

DECODE_PROCESS = """
import sys
from pathlib import Path
import numpy as np
from protocol.batch import decode
batch = decode(Path(sys.argv[1]).read_bytes())
raw, times = batch.raw("motion"), batch.times("motion")
columns = [np.ascontiguousarray(raw[name]) for name in raw.dtype.names]
columns += [times.sequence, times.vehicle_s]
print(len(columns), len(columns[0]), int(columns[0].sum()))
"""

PARQUET_PROCESS = """
import sys
import pyarrow.parquet
table = pyarrow.parquet.read_table(sys.argv[1], use_threads=False)
columns = [column.to_numpy() for column in table.columns]
print(len(columns), len(columns[0]), int(columns[0].sum()))
"""

QUICK = ("--frames", "200000")


def good_loop(data: bytes, record: np.dtype[np.void]) -> NDArray[np.void]:
    """Return the good frames as records."""
    frames = []
    for block in data.split(b"\0"):
        try:
            frame = cobs.decode(block)
        except cobs.DecodeError:
            continue
        if len(frame) == record.itemsize and crc_hqx(frame, 0xFFFF) == 0:
            frames.append(frame)
    return np.frombuffer(b"".join(frames), record)


def textbook_loop(data: bytes, layout: struct.Struct) -> list[tuple[Any, ...]]:
    """Return the good frames as tuples."""
    frames = []
    for block in data.split(b"\0"):
        try:
            frame = cobs.decode(block)
        except cobs.DecodeError:
            continue
        if len(frame) == layout.size and crc_hqx(frame, 0xFFFF) == 0:
            frames.append(layout.unpack(frame))
    return frames


def million(kind_name: str, frames: int) -> dict[str, float]:
    """Return seconds for one kind, each way, and ratios to the batch decoder."""
    kind, stream = TABLE.by_name[kind_name], stream_of(kind_name, frames=frames, damaged=0.01)
    record, data = record_dtype(kind), stream.data
    layout = struct.Struct(HEADER.format + kind.layout.format[1:] + "H")
    assert layout.size == record.itemsize
    _check_equal(decode(data, table=TABLE), good_loop(data, record), kind_name)
    times_s = _timed(
        {
            "batch": lambda: decode(data, table=TABLE),
            "good_loop": lambda: good_loop(data, record),
        },
        REPEATS,
    )
    times_s |= _timed({"textbook_loop": lambda: textbook_loop(data, layout)}, 2)
    return {
        "frames": frames,
        "bytes_a_frame": len(data) / frames,
        **{f"{name}_s": min(each) for name, each in times_s.items()},
        "times_good_loop": _ratio(times_s["good_loop"], times_s["batch"]),
        "times_textbook_loop": _ratio(times_s["textbook_loop"], times_s["batch"]),
    }


def processes(frames: int) -> dict[str, float]:
    """Return seconds for whole processes that end with the same columns."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    data = stream_of("motion", frames=frames, damaged=0.01).data
    batch = decode(data)
    raw, times = batch.raw("motion"), batch.times("motion")
    columns = {name: np.ascontiguousarray(raw[name]) for name in raw.dtype.names or ()}
    columns |= {"sequence": times.sequence, "vehicle_s": times.vehicle_s}
    with TemporaryDirectory() as folder:
        raw_path, parquet_path = Path(folder, "frames.bin"), Path(folder, "frames.parquet")
        raw_path.write_bytes(data)
        pq.write_table(pa.table(columns), parquet_path, compression="zstd")
        answers: set[bytes] = set()
        times_s = _timed(
            {
                "batch_process": lambda: answers.add(_run(DECODE_PROCESS, raw_path)),
                "parquet_process": lambda: answers.add(_run(PARQUET_PROCESS, parquet_path)),
            },
            REPEATS,
        )
        sizes = {"raw_mb": raw_path.stat().st_size / 1e6}
        sizes["parquet_mb"] = parquet_path.stat().st_size / 1e6
    if len(answers) != 1:
        raise RuntimeError(f"the two processes read different columns: {answers}")
    return {
        **{f"{name}_s": min(each) for name, each in times_s.items()},
        "times_parquet": _ratio(times_s["parquet_process"], times_s["batch_process"]),
        **sizes,
    }


def hours(minutes: float) -> dict[str, float]:
    """Return milliseconds for an hour of motion at 100 Hz, and of all kinds together."""
    motion = stream_of("motion", frames=round(minutes * 6000))
    every = hour_of_all_kinds(minutes=minutes)

    def columns(stream: Stream) -> Batch:
        return decode(stream.data, stream.at_s, stream.sizes)

    times_s = _timed(
        {"hour_motion": lambda: columns(motion), "hour_all_kinds": lambda: columns(every)}, REPEATS
    )
    return {
        **{f"{name}_ms": 1e3 * min(each) for name, each in times_s.items()},
        **{f"{name}_median_ms": 1e3 * median(each) for name, each in times_s.items()},
        "hour_all_kinds_frames": len(every.sizes),
    }


def run(frames: int) -> dict[str, Any]:
    """Return all figures."""
    return {
        "motion": million("motion", frames),
        "sixteen": million("sixteen", frames),
        "processes": processes(frames),
        "hour": hours(60.0 * min(frames / 1_000_000, 1.0)),
    }


def targets(found: dict[str, Any]) -> list[Row]:
    """Return what was to be reached."""
    rows = [
        Row(
            f"decode {found[name]['frames']:,} frames of {found[name]['bytes_a_frame']:.0f} bytes",
            f"{1e3 * found[name]['batch_s']:.0f} ms",
            ">= 6 times as fast",
            found[name]["times_good_loop"] >= 6,
            "good loop",
            1 / found[name]["times_good_loop"],
        )
        for name in ("motion", "sixteen")
    ]
    each, hour_ms = found["processes"], found["hour"]["hour_motion_ms"]
    whole = f"{1e3 * each['batch_process_s']:.0f} ms"
    faster = each["times_parquet"] > 1
    ratio = 1 / each["times_parquet"]
    rows.append(Row("the same as a process", whole, "faster", faster, "Parquet, zstd", ratio))
    rows.append(Row("an hour at 100 Hz to columns", f"{hour_ms:.0f} ms", "< 50 ms", hour_ms < 50))
    return rows


def main(argv: list[str]) -> int:
    """Print how fast a recording becomes columns."""
    parser = argparse.ArgumentParser(prog="decode", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--frames", type=int, default=1_000_000, help="frames to decode")
    options = parser.parse_args(argv)
    found = run(options.frames)
    if options.json:
        print(json.dumps(found))
        return 0
    for name in ("motion", "sixteen"):
        each = found[name]
        print(f"{each['frames']:,} frames of {each['bytes_a_frame']:.0f} bytes, 1 % damaged")
        print(f"  batch decoder          {1e3 * each['batch_s']:8.1f} ms")
        print(f"  good loop              {1e3 * each['good_loop_s']:8.1f} ms", end="")
        print(f"  {each['times_good_loop']:6.1f} times the batch decoder's; target >= 6")
        print(f"  textbook loop          {1e3 * each['textbook_loop_s']:8.1f} ms", end="")
        print(f"  {each['times_textbook_loop']:6.1f} times")
    each = found["processes"]
    print("whole processes, the same columns of motion frames")
    print(f"  raw bytes, decoded     {1e3 * each['batch_process_s']:8.1f} ms", end="")
    print(f"  {each['raw_mb']:6.1f} MB")
    print(f"  Parquet, zstd          {1e3 * each['parquet_process_s']:8.1f} ms", end="")
    print(f"  {each['parquet_mb']:6.1f} MB  {each['times_parquet']:.2f} times; target > 1")
    each = found["hour"]
    print("one hour, bytes and arrivals to columns")
    print(f"  motion at 100 Hz       {each['hour_motion_ms']:8.1f} ms  target < 50")
    print(f"  all kinds, {each['hour_all_kinds_frames']:,}     {each['hour_all_kinds_ms']:8.1f} ms")
    return 0


def _check_equal(batch: Batch, records: NDArray[np.void], kind_name: str) -> None:
    raw = batch.raw(kind_name)
    for name in raw.dtype.names or ():
        if not np.array_equal(raw[name], records[name]):
            raise RuntimeError(f"the decoders disagree on {name}")


def _run(program: str, path: Path) -> bytes:
    command = [sys.executable, "-c", program, str(path)]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout


def _timed(works: dict[str, Callable[[], object]], repeats: int) -> dict[str, list[float]]:
    """Return the times of each, taken in turn, so that all meet the same machine."""
    times_s: dict[str, list[float]] = {name: [] for name in works}
    results: dict[str, object] = {}
    for _ in range(repeats):
        for name, work in works.items():
            began_s = perf_counter()
            # Kept until the next one is there, as memory given back is slow to get again.
            results[name] = work()
            times_s[name].append(perf_counter() - began_s)
    return times_s


def _ratio(these_s: list[float], those_s: list[float]) -> float:
    return min(these_s) / min(those_s)
