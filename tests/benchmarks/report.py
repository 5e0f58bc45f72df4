"""How long a report takes: an hour at 100 Hz as a page, and the passes of many sessions.

Baselines, in the same run: reading the hour's columns from Parquet (zstd) into pandas; and for the
many sessions the textbook way, a loop over frames with `struct.unpack`, then pandas. Each way runs
in a process of its own, which tells its time and its highest memory. Both must find the same
passes, or the benchmark fails. The many sessions are one session read as often: all of it invented.
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
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import TYPE_CHECKING, Any

from groundstation.cli.analysing import on_one_core
from protocol import Kind
from protocol.table import HEADER
from tests.benchmarks._invented_session import PROFILE, TABLE, write_session
from tests.benchmarks._targets import Row

if TYPE_CHECKING:
    import pandas as pd

ROOT = Path(__file__).parents[2]

SESSION_S, HOUR_S = 600.0, 3600.0

QUICK = ("--seconds", "600", "--sessions", "10", "--loops", "2")


def page_of_an_hour(path: Path, _: int) -> dict[str, Any]:
    """Make the report of a session; return the time of each step."""
    from groundstation.analysis.record import record_of
    from groundstation.analysis.session import analyse
    from groundstation.recording.decoded import decode_tape
    from groundstation.recording.reader import open_session
    from groundstation.report.page import page
    from groundstation.report.sheet import sheet_of
    from groundstation.report.words import Telling
    from groundstation.units import SpeedUnit

    began_s = perf_counter()
    tape = open_session(path)
    batch = decode_tape(tape, TABLE)
    vehicle = batch.first_vehicle
    assert vehicle is not None
    record = record_of(batch, vehicle=vehicle)
    decoded_s = perf_counter()
    analysis = analyse(record)
    analysed_s = perf_counter()
    text = page(Telling(analysis, sheet_of(path, tape, batch, vehicle), SpeedUnit.KMH))
    made_s = perf_counter()
    return {
        "decode_s": decoded_s - began_s,
        "analyse_s": analysed_s - decoded_s,
        "page_s": made_s - analysed_s,
        "all_s": made_s - began_s,
        "page_mb": len(text.encode()) / 1e6,
        "passes": len(analysis.passes),
    }


def parquet_of_an_hour(path: Path, _: int) -> dict[str, Any]:
    """Read the same columns from Parquet files beside the session."""
    import pandas as pd

    began_s = perf_counter()
    rows = sum(len(pd.read_parquet(each)) for each in path.parent.glob("*.parquet"))
    return {"all_s": perf_counter() - began_s, "rows": rows}


def passes_by_columns(path: Path, times: int) -> dict[str, Any]:
    """Summarise the passes of many sessions as `report` reads them."""
    import numpy as np

    from groundstation.analysis.passes import find_passes
    from groundstation.analysis.record import record_of
    from groundstation.recording.decoded import decode_tape
    from groundstation.recording.reader import open_session

    began_s, found = perf_counter(), []
    for _ in range(times):
        batch = decode_tape(open_session(path), TABLE)
        assert batch.first_vehicle is not None
        record = record_of(batch, vehicle=batch.first_vehicle)
        for span in find_passes(record):
            motion = record.motion.between(span.start_s, span.end_s)
            radio = record.radio.between(span.start_s, span.end_s)
            found.append(
                (
                    float(np.nanmax(motion["speed_mps"])),
                    float(np.nanmax(np.abs(motion["yaw_rate_dps"]))),
                    float(np.nanmax(motion["accel_z_max_g"])),
                    float(np.nanmin(radio["control_rssi_dbm"])),
                )
            )
    return {"all_s": perf_counter() - began_s, "passes": found[-10:], "count": len(found)}


def passes_by_loop(path: Path, times: int) -> dict[str, Any]:
    """Do the same the textbook way: tuples of a loop, tables of pandas."""
    from cobs import cobs

    from groundstation.recording.reader import open_session

    kinds = {TABLE.by_name[name].code: TABLE.by_name[name] for name in ("motion", "radio")}
    layouts = {
        code: struct.Struct(HEADER.format + kind.layout.format[1:] + "H")
        for code, kind in kinds.items()
    }
    began_s, found = perf_counter(), []
    for _ in range(times):
        rows: dict[int, list[tuple[Any, ...]]] = {code: [] for code in kinds}
        for block in open_session(path).columns().data.split(b"\0"):
            try:
                frame = cobs.decode(block)
            except cobs.DecodeError:
                continue
            if frame and frame[0] in kinds and crc_hqx(frame, 0xFFFF) == 0:
                rows[frame[0]].append(layouts[frame[0]].unpack(frame))
        found += _pandas_summary(*(_table(kinds[code], rows[code]) for code in kinds))
    return {"all_s": perf_counter() - began_s, "passes": found[-10:], "count": len(found)}


def _table(kind: Kind, rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    import pandas as pd

    names = ["kind", "vehicle", "sequence", "clock", *(each.name for each in kind.fields), "crc"]
    table = pd.DataFrame(rows, columns=names)
    table["clock"] /= 1e6
    for field in kind.fields:
        if not field.is_text and not field.bits:
            known = table[field.name].where(table[field.name] != field.unknown)
            table[field.name] = known / field.per_unit
    return table


def _pandas_summary(motion: pd.DataFrame, radio: pd.DataFrame) -> list[tuple[float, ...]]:
    import pandas as pd

    speed = motion["speed_mps"]
    state = pd.Series(float("nan"), index=motion.index)
    state[speed >= PROFILE.pass_speed_mps] = 1.0
    state[speed <= PROFILE.pass_end_speed_mps] = 0.0
    running = state.ffill().fillna(0.0)
    number = ((running == 1.0) & (running.shift(fill_value=0.0) == 0.0)).cumsum()
    moving = motion[running == 1.0].assign(number=number[running == 1.0])
    moving["yaw_rate_dps"] = moving["yaw_rate_dps"].abs()
    found = []
    for _, one in moving.groupby("number"):
        start_s, end_s = one["clock"].iloc[0], one["clock"].iloc[-1]
        heard = radio[(radio["clock"] >= start_s) & (radio["clock"] <= end_s)]
        peaks = one[["speed_mps", "yaw_rate_dps", "accel_z_max_g"]].max()
        found.append((*map(float, peaks), float(heard["control_rssi_dbm"].min())))
    return found


WAYS: dict[str, Callable[[Path, int], dict[str, Any]]] = {
    "page": page_of_an_hour,
    "parquet": parquet_of_an_hour,
    "columns": passes_by_columns,
    "loop": passes_by_loop,
}


def highest_mib() -> float:
    """Return the highest resident memory of this process."""
    # `getrusage` would tell the parent's where that was higher when this process began.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def in_a_process(way: str, path: Path, times: int = 1) -> dict[str, Any]:
    """Return what a way tells, run by itself, with its highest resident memory."""
    argv = ["--way", way, "--file", str(path), "--times", str(times)]
    command = [sys.executable, "-m", "tests.benchmarks", "report", *argv]
    told = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
    return dict(json.loads(told.stdout))


def run(hour_s: float, sessions: int, loops: int) -> dict[str, Any]:
    """Return all figures.

    Args:
        hour_s: Length of the session for the page.
        sessions: How many sessions of ten minutes are summarised.
        loops: How many of them the textbook way; its time is scaled up.
    """
    from groundstation.exporting.tables import export_kinds
    from groundstation.recording.reader import open_session

    with TemporaryDirectory() as name:
        hour = write_session(Path(name) / "hour.session", hour_s)
        export_kinds(
            open_session(hour), TABLE, folder=Path(name), stem="hour", file_format="parquet"
        )
        short = write_session(Path(name) / "short.session", min(SESSION_S, hour_s))
        found = {
            "page": in_a_process("page", hour),
            "parquet": in_a_process("parquet", hour),
            "columns": in_a_process("columns", short, sessions),
            "loop": in_a_process("loop", short, loops),
        }
    ours, theirs = (found[way]["passes"] for way in ("columns", "loop"))
    kept = min(len(ours), len(theirs))
    ours, theirs = ours[-kept:], theirs[-kept:]
    if not kept or any(
        abs(one - other) > 1e-6
        for pair in zip(ours, theirs, strict=True)
        for one, other in zip(*pair, strict=True)
    ):
        raise RuntimeError("the two ways found different passes")
    per_session_s = found["loop"]["all_s"] / loops
    return {
        "hour_s": hour_s,
        "sessions": sessions,
        **found,
        "loop_all_s": per_session_s * sessions,
        "times_loop": per_session_s * sessions / found["columns"]["all_s"],
        "page_to_parquet": found["page"]["all_s"] / found["parquet"]["all_s"],
    }


def targets(found: dict[str, Any]) -> list[Row]:
    """Return what was to be reached."""
    page, columns = found["page"], found["columns"]
    work, analyse_s = f"analyse {found['hour_s']:g} s at 100 Hz", page["analyse_s"]
    ratio, all_s = 1 / found["times_loop"], columns["all_s"] * 100 / found["sessions"]
    loop = "textbook loop, pandas"
    return [
        Row(work, f"{analyse_s:.2f} s", "< 1 s", analyse_s < 1),
        Row("its page", f"{page['page_mb']:.2f} MB", "< 10 MB", page["page_mb"] < 10),
        Row("passes of 100 sessions", f"{all_s:.2f} s", "< 1.5 s", all_s < 1.5, loop, ratio),
        Row(
            "the same, memory",
            f"{columns['peak_mib']:.0f} MiB",
            "< 100 MiB",
            columns["peak_mib"] < 100,
            loop,
            columns["peak_mib"] / found["loop"]["peak_mib"],
        ),
    ]


def main(argv: list[str]) -> int:
    """Print the figures, or one JSON object."""
    parser = argparse.ArgumentParser(prog="report", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seconds", type=float, default=HOUR_S, help="of the session with a page")
    parser.add_argument("--sessions", type=int, default=100, help="to summarise")
    parser.add_argument("--loops", type=int, default=10, help="of them by the textbook loop")
    parser.add_argument("--way", choices=list(WAYS), help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--times", type=int, default=1, help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.way:
        on_one_core()
        told = WAYS[options.way](options.file, options.times)
        told["peak_mib"] = highest_mib()
        print(json.dumps(told))
        return 0
    found = run(options.seconds, options.sessions, options.loops)
    if options.json:
        print(json.dumps(found))
        return 0
    page, parquet = found["page"], found["parquet"]
    columns, loop = found["columns"], found["loop"]
    print(f"report of {found['hour_s']:g} s at 100 Hz, {page['passes']} passes   target")
    for label, key, target in (
        ("session to columns", "decode_s", "< 0.15 s"),
        ("analysis", "analyse_s", "< 1 s"),
        ("page", "page_s", ""),
        ("all", "all_s", ""),
    ):
        print(f"  {label:30} {page[key]:8.2f} s   {target}")
    print(f"  {'size of the page':30} {page['page_mb']:8.2f} MB  < 10 MB")
    print(f"  {'columns from Parquet':30} {parquet['all_s']:8.2f} s   baseline")
    print(f"passes of {found['sessions']} sessions of ten minutes")
    print(f"  {'columns':30} {columns['all_s']:8.2f} s   < 1.5 s", end="")
    print(f"{columns['peak_mib']:8.0f} MiB  < 100 MiB")
    print(f"  {'textbook loop and pandas':30} {found['loop_all_s']:8.2f} s   baseline", end="")
    print(f"{loop['peak_mib']:7.0f} MiB")
    print(f"  {'ratio':30} {found['times_loop']:8.1f}     >= 6")
    return 0
