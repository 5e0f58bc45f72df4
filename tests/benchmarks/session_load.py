"""How long an hour of a car (477,000 chunks of a frame) takes from a session file to columns.

Baselines, in the same run: the same session as it lies on the disk before its chunks are merged,
and simply reading the file's bytes. Both files must give the same columns, or the benchmark fails.
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

import numpy as np

from groundstation.inbound import BytesReceived
from groundstation.recording.decoded import decode_tape
from groundstation.recording.growing import GrowingFile
from groundstation.recording.reader import open_session
from groundstation.recording.writer import Recorder
from tests.benchmarks._frame_streams import TABLE, hour_of_all_kinds
from tests.benchmarks._targets import Row

FLUSH_EVERY = 5000
REPEATS = 7
QUICK = ("--minutes", "10")


def write_single(folder: Path, minutes: float) -> tuple[Path, float]:
    """Return a session of single chunks, and the microseconds that each took to record."""
    stream = hour_of_all_kinds(minutes=minutes)
    ends = np.cumsum(stream.sizes).tolist()
    chunks = [
        BytesReceived(at_s, stream.data[begin:end])
        for at_s, begin, end in zip(stream.at_s.tolist(), [0, *ends], ends, strict=False)
    ]
    count = len(chunks)
    began_s = perf_counter()
    with Recorder(
        folder, facts={}, started=datetime(2026, 1, 1, tzinfo=UTC), software_version="benchmark"
    ) as recorder:
        for first in range(0, count, FLUSH_EVERY):
            for chunk in chunks[first : first + FLUSH_EVERY]:
                recorder.record(chunk)
            if not recorder.flush():
                raise RuntimeError(recorder.trouble)
        path, took_s = recorder.path, perf_counter() - began_s
    if path is None or recorder.lost_bytes:
        raise RuntimeError("the session was not recorded whole")
    return path, took_s / count * 1e6


def timed_ms(work: Callable[[], object]) -> tuple[float, float]:
    """Return the median and the worst time of some work, in milliseconds."""
    times_ms = []
    for _ in range(REPEATS):
        began_s = perf_counter()
        work()
        times_ms.append((perf_counter() - began_s) * 1e3)
    return median(times_ms), max(times_ms)


def run(minutes: float) -> dict[str, float]:
    """Return the times in milliseconds, and the sizes."""
    with TemporaryDirectory() as name:
        single, record_us = write_single(Path(name), minutes)
        merged = Path(shutil.copy(single, single.with_name("merged.session")))
        growing = GrowingFile.reopen(merged)
        began_s = perf_counter()
        growing.compact()
        growing.close()
        merge_ms = (perf_counter() - began_s) * 1e3
        session, as_recorded = open_session(merged), open_session(single)
        columns, same = session.columns(), as_recorded.columns()
        if columns.data != same.data or not np.array_equal(columns.at_s, same.at_s):
            raise RuntimeError("merging changed the session")
        figures = {
            "minutes": minutes,
            "chunks": len(columns.at_s),
            "size_mb": merged.stat().st_size / 1e6,
            "record_us": record_us,
            "merge_ms": merge_ms,
        }
        for label, work in {
            "open": lambda: open_session(merged),
            "columns": session.columns,
            "decoded": lambda: decode_tape(open_session(merged), TABLE),
            "single_columns": as_recorded.columns,
            "inbound": lambda: sum(1 for _ in session.inbound()),
            "read": merged.read_bytes,
        }.items():
            figures[f"{label}_median_ms"], figures[f"{label}_worst_ms"] = timed_ms(work)
    figures["ratio_to_single"] = figures["columns_median_ms"] / figures["single_columns_median_ms"]
    figures["ratio_to_read"] = figures["columns_median_ms"] / figures["read_median_ms"]
    return figures


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    decoded_ms, work = found["decoded_median_ms"], f"{found['minutes']:g} min, file to columns"
    ratio = decoded_ms / found["read_median_ms"]
    met = decoded_ms < 150
    return [Row(work, f"{decoded_ms:.0f} ms", "< 150 ms", met, "file to bytes", ratio)]


def main(argv: list[str]) -> int:
    """Print how long a session takes to load, beside the baselines."""
    parser = argparse.ArgumentParser(prog="session_load", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--minutes", type=float, default=60.0, help="length of the session")
    options = parser.parse_args(argv)
    found = run(options.minutes)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"session of {found['minutes']:g} min, {found['chunks']:,} chunks, ", end="")
    print(f"{found['size_mb']:.1f} MB")
    print(f"  recording a chunk         {found['record_us']:8.1f} us, hand-over and wait included")
    print(f"  merging at the end        {found['merge_ms']:8.1f} ms")
    print("times in ms                   median     worst    target")
    for label, key, target in (
        ("open", "open", "< 50"),
        ("to raw columns", "columns", "< 50"),
        ("file to decoded columns", "decoded", "< 150"),
        ("to events, one by one", "inbound", ""),
        ("to raw columns, not merged", "single_columns", "baseline"),
        ("file to bytes", "read", "baseline"),
    ):
        print(f"  {label:26} {found[f'{key}_median_ms']:8.1f}  ", end="")
        print(f"{found[f'{key}_worst_ms']:8.1f}    {target}")
    print(f"  ratio to not merged        {found['ratio_to_single']:8.3f}")
    print(f"  ratio to reading bytes     {found['ratio_to_read']:8.3f}")
    return 0
