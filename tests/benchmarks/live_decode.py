"""What one frame costs while it is live: the incremental receiver, a read a frame and in pieces.

Baseline, in the same run: COBS and CRC of the same frames alone, in C, a call each. The parts are
timed by themselves too: the frame's place in the order, and its fifteen channels by name.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from time import perf_counter

from protocol import Receiver
from protocol.framing import CRC_BYTES, crc_is_good, unstuff
from protocol.order import Order
from protocol.table import HEADER
from tests.benchmarks._frame_streams import stream_of
from tests.benchmarks._targets import Row

REPEATS = 7
PIECE_BYTES = 20
"""The smallest notification of Bluetooth LE."""

QUICK = ("--frames", "5000")


def run(frames: int) -> dict[str, float]:
    """Return microseconds a frame, the best of several rounds."""
    data = stream_of("motion", frames=frames).data
    blocks = data.split(b"\0")[:-1]
    whole = [block + b"\0" for block in blocks]
    pieces = [data[begin : begin + PIECE_BYTES] for begin in range(0, len(data), PIECE_BYTES)]
    decoded = [frame for frame in map(unstuff, blocks) if frame is not None]
    payloads = [frame[HEADER.size : -CRC_BYTES] for frame in decoded]
    motion = Receiver().table.by_name["motion"]

    def receive(chunks: list[bytes]) -> Callable[[], object]:
        def work() -> int:
            receiver, step_s = Receiver(), 0.01 * frames / len(chunks)
            return sum(
                len(receiver.receive_data(chunk, number * step_s))
                for number, chunk in enumerate(chunks)
            )

        if work() != frames:
            raise RuntimeError("not every frame was received")
        return work

    def place() -> None:
        order = Order()
        for number in range(frames):
            order.place(number & 0xFFFF, number * 10_000 & 0xFFFFFFFF, number * 0.01)

    works: dict[str, Callable[[], object]] = {
        "frame_a_read": receive(whole),
        "pieces_of_20": receive(pieces),
        "cobs_and_crc": lambda: [crc_is_good(unstuff(block) or b"") for block in blocks],
        "order": place,
        "channels": lambda: [motion.decode(payload) for payload in payloads],
    }
    best_s = dict.fromkeys(works, float("inf"))
    for _ in range(REPEATS):
        for name, work in works.items():
            began_s = perf_counter()
            work()
            best_s[name] = min(best_s[name], perf_counter() - began_s)
    found = {f"{name}_us": 1e6 * each / frames for name, each in best_s.items()}
    found["times_cobs_and_crc"] = best_s["frame_a_read"] / best_s["cobs_and_crc"]
    found["core_percent_at_1_khz"] = found["pieces_of_20_us"] / 10
    return found


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    percent = found["core_percent_at_1_khz"]
    return [
        Row(
            f"decode 1 kHz in pieces of {PIECE_BYTES} bytes",
            f"{percent:.1f} % of a core",
            "< 3 %",
            percent < 3,
            "COBS and CRC in C",
            found["pieces_of_20_us"] / found["cobs_and_crc_us"],
        )
    ]


def main(argv: list[str]) -> int:
    """Print what a live frame costs."""
    parser = argparse.ArgumentParser(prog="live_decode", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--frames", type=int, default=20_000, help="frames a round")
    options = parser.parse_args(argv)
    found = run(options.frames)
    if options.json:
        print(json.dumps(found))
        return 0
    for label, key in (
        ("frame a read", "frame_a_read"),
        (f"in pieces of {PIECE_BYTES} bytes", "pieces_of_20"),
        ("COBS and CRC alone", "cobs_and_crc"),
        ("order alone", "order"),
        ("channels by name alone", "channels"),
    ):
        print(f"{label:24} {found[f'{key}_us']:6.2f} us a frame")
    print(f"times COBS and CRC alone {found['times_cobs_and_crc']:6.1f}")
    print(f"of a core at 1 kHz       {found['core_percent_at_1_khz']:6.2f} %")
    return 0
