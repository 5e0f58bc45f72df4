"""The batch decoder: the same frames, places and values as the incremental one, as columns."""

from __future__ import annotations

from dataclasses import fields
from itertools import product

import numpy as np
import pytest
from cobs import cobs
from hypothesis import HealthCheck, example, given, settings
from numpy.typing import NDArray

from protocol import RejectReason, Sender
from protocol import batch_frames as frames_module
from protocol.batch import Batch, decode
from protocol.batch_frames import GOOD, REASONS, read_frames, split_blocks
from protocol.framing import MAX_ENCODED_BYTES, wrap
from protocol.receiver import read_block
from protocol.table import HEADER
from tests.protocol.samples import MOTION, motion_frames, own_table
from tests.protocol.streams import TABLE, Heard, Recording, Session, hear, recordings

NOTHING_NEEDED = np.zeros(256, np.uint8)

TOGETHER_AND_SINGLY = [1, 10**9]
"""How many frames of one length it takes for them to be decoded together."""

ways = pytest.mark.parametrize("worthwhile", TOGETHER_AND_SINGLY, ids=["together", "singly"])


def batch_of(recording: Recording) -> Batch:
    at_s = np.array([np.nan if each is None else each for each in recording.at_s])
    sizes = np.array(recording.sizes, np.uint32)
    return decode(recording.data, at_s, sizes, TABLE, restarts=recording.restarts)


def heard_by_batch(batch: Batch) -> dict[tuple[int, int], list[Heard]]:
    """Return all that a batch says of each frame, in the receiver's form."""
    heard = {}
    for vehicle in batch.vehicles:
        for code in [*TABLE.by_code, *batch.unknown]:
            kind = TABLE.by_code.get(code)
            times = batch.times(kind.name if kind else code, vehicle)
            count = len(times.at_s)
            if not count:
                continue
            columns = {}
            for each in kind.fields if kind else ():
                for channel in each.channels:
                    columns[channel] = _values(batch, channel, vehicle)
            known_bytes = kind.layout.size if kind else 0
            heard[code, vehicle] = [
                Heard(
                    int(times.sequence[place]),
                    float(times.vehicle_s[place]),
                    None if np.isnan(times.at_s[place]) else float(times.at_s[place]),
                    int(times.missed[place]),
                    bool(times.late[place]),
                    bool(times.rebooted[place]),
                    {channel: column[place] for channel, column in columns.items()},
                    payload[known_bytes:],
                )
                for place, payload in enumerate(batch.payloads(code, vehicle))
            ]
    return heard


def _values(batch: Batch, channel: str, vehicle: int) -> list[float | bool | str | None]:
    known = batch.known(channel, vehicle).tolist()
    values = batch.column(channel, vehicle).tolist()
    for is_known, value in zip(known, values, strict=True):
        # What a column says where nothing was measured.
        assert is_known or value is None or value is False or np.isnan(value)
    return [each if is_known else None for is_known, each in zip(known, values, strict=True)]


def assert_equal(batch: Batch, session: Session) -> None:
    assert heard_by_batch(batch) == session.frames
    assert list(batch.vehicles) == session.vehicles
    assert batch.frames == sum(map(len, session.frames.values()))
    assert batch.rejected == session.rejected
    assert batch.unknown == session.unknown
    assert batch.missed == {each: session.missed[each] for each in session.vehicles}
    assert batch.reboots == {each: session.reboots[each] for each in session.vehicles}


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(recording=recordings())
@example(recording=Recording(b"", (), (), ()))
@example(recording=Recording(b"\0", (1,), (0.0,), (0,)))
@example(recording=Recording(motion_frames(1)[0], (0, 33, 0), (0.0, 1.0, 2.0), (0, 33)))
def test_a_batch_says_what_the_receiver_says(recording: Recording) -> None:
    session = hear(recording, TABLE)
    for worthwhile in TOGETHER_AND_SINGLY:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(frames_module, "WORTHWHILE", worthwhile)
            assert_equal(batch_of(recording), session)


@pytest.mark.parametrize("together", [64, 1 << 16])
def test_a_long_recording_is_decoded_in_several_parts(
    together: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frames_module, "TOGETHER", together)
    chance = np.random.default_rng(5)
    sender, other, data = Sender(TABLE), Sender(TABLE, vehicle=2), bytearray()
    for number in range(4000):
        data += sender.encode("motion", MOTION | {"speed_mps": number / 100}, 10_000 * number)
        if number % 3 == 0:
            data += sender.encode("radio", {"control_rssi_dbm": -60.5}, 10_000 * number)
        if number % 7 == 0:
            data += sender.encode("fix", {"latitude_deg": 45.1}, 10_000 * number - 60_000)
            data += other.encode("motion", {"speed_mps": 1.0}, 10_000 * number)
    for place in chance.integers(0, len(data), 300):
        data[place] ^= 1 << int(chance.integers(8))
    sizes = tuple(len(data[begin : begin + 20]) for begin in range(0, len(data), 20))
    recording = Recording(bytes(data), sizes, tuple(0.005 * n for n in range(len(sizes))), (1000,))
    batch = batch_of(recording)
    assert_equal(batch, hear(recording, TABLE))
    assert batch.frames > 6000


def test_blocks_too_short_for_a_frame_are_rejected_in_every_part(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(frames_module, "TOGETHER", 64)
    monkeypatch.setattr(frames_module, "WORTHWHILE", 1)
    batch = decode(b"\x00" + b"\x03ab\x00\x02ab\x00" * 250)
    assert batch.frames == 0
    assert batch.rejected == {RejectReason.TOO_SHORT: 250, RejectReason.STUFFING: 250}


def every_short_block() -> bytes:
    alphabet = [1, 2, 3, 4, 5, 0x41, 0xFE, 0xFF]
    blocks = [bytes([byte]) for byte in range(1, 256)]
    blocks += [bytes(pair) for pair in product(range(1, 256), repeat=2)]
    for size in (3, 4, 5):
        blocks += [bytes(each) for each in product(alphabet, repeat=size)]
    return b"\0".join(blocks) + b"\0"


@ways
def test_every_short_block_is_cobs_exactly_where_the_cobs_package_says_so(
    worthwhile: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frames_module, "WORTHWHILE", worthwhile)
    data = every_short_block()
    for block, verdict in zip(data.split(b"\0")[:-1], verdicts(data), strict=True):
        assert verdict is (RejectReason.TOO_SHORT if is_cobs(block) else RejectReason.STUFFING)


@ways
def test_blocks_of_every_length_are_judged_as_the_receiver_judges_them(
    worthwhile: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frames_module, "WORTHWHILE", worthwhile)
    chance = np.random.default_rng(6)
    blocks = []
    for size in range(1, MAX_ENCODED_BYTES + 4):
        for _ in range(60):
            body = chance.integers(0, 256, max(size - 3, 0), np.uint8)
            body[chance.random(len(body)) < chance.random()] = 0
            right = cobs.encode(bytes(body) if size > 66 else wrap_any(bytes(body)))
            wrong = bytearray(right)
            wrong[int(chance.integers(len(wrong)))] = int(chance.integers(1, 256))
            blocks += [right, bytes(wrong), bytes(chance.integers(1, 256, size, np.uint8))]
    assert any(len(block) > MAX_ENCODED_BYTES for block in blocks)
    for block, verdict in zip(blocks, verdicts(b"\0".join(blocks) + b"\0"), strict=True):
        body_or_reason = read_block(block)
        assert verdict is (body_or_reason if isinstance(body_or_reason, RejectReason) else None)


def wrap_any(body: bytes) -> bytes:
    """Return a body of any length and its CRC."""
    return cobs.decode(wrap(body[:62])[:-1])


def is_cobs(block: bytes) -> bool:
    try:
        cobs.decode(block)
    except cobs.DecodeError:
        return False
    return True


def verdicts(data: bytes) -> list[RejectReason | None]:
    """Return why each block is rejected, None for a good one; a link that is joined already."""
    stream = np.frombuffer(b"\0" + data, np.uint8)
    _, verdict = read_frames(stream, split_blocks(stream), NOTHING_NEEDED)
    return [None if each == GOOD else REASONS[each] for each in verdict[1:]]


def test_columns_have_the_types_they_promise() -> None:
    sender = Sender(own_table())
    data = b"".join(
        sender.encode(kind, values, 10_000 * number)
        for number, (kind, values) in enumerate(
            [
                ("motion", MOTION),
                ("motion", {}),
                ("ident", {"vehicle_name": "Quickstep"}),
                ("motor", {"motor_rpm": 90_000, "tyre_temperature_c": 40.5, "note": "a"}),
                ("switches", {"recovery_on": True}),
            ]
        )
    )
    batch = decode(data, table=sender.table)
    speed = batch.column("speed_mps")
    assert speed.dtype == np.float64
    np.testing.assert_array_equal(speed, [42.5, np.nan])
    clipped = batch.column("clipped_samples")
    assert clipped.dtype == np.float64
    np.testing.assert_array_equal(clipped, [0.0, np.nan])
    stabiliser = batch.column("stabiliser_on")
    assert stabiliser.dtype == np.bool_
    assert stabiliser.tolist() == [True, False]
    assert batch.known("stabiliser_on").tolist() == [True, False]
    assert batch.column("vehicle_name").tolist() == ["Quickstep"]
    assert batch.column("vehicle_name").dtype == np.object_
    assert batch.column("firmware").tolist() == [None]
    assert batch.known("firmware").tolist() == [False]
    assert batch.column("motor_rpm").tolist() == [90_000.0]
    assert batch.column("tyre_temperature_c").tolist() == [40.5]
    assert batch.column("recovery_on").tolist() == [True]
    assert batch.column("fan_on").tolist() == [False]


@pytest.mark.parametrize("channel", ["latitude_deg", "control_rssi_dbm", "accel_z_g"])
def test_a_number_outside_its_range_is_not_measured(channel: str) -> None:
    kind, field = TABLE.by_channel[channel]
    raws = [field.raw_min - 1, field.raw_min, field.raw_max, field.raw_max + 1]
    frames = []
    for number, raw in enumerate(raws):
        fields_raw = (raw if each is field else each.to_raw(None) for each in kind.fields)
        header = HEADER.pack(kind.code, 1, number, 10_000 * number)
        frames.append(wrap(header + kind.layout.pack(*fields_raw)))
    batch = decode(b"".join(frames))
    assert batch.known(channel).tolist() == [False, True, True, False]
    np.testing.assert_array_equal(batch.column(channel), [np.nan, field.min, field.max, np.nan])


def test_raw_fields_are_as_they_came() -> None:
    raw = decode(b"".join(motion_frames(3))).raw("motion")
    assert raw.dtype.names is not None
    assert raw["speed_mps"].dtype == np.dtype("<u2")
    assert raw["yaw_rate_dps"].tolist() == [-32, -32, -32]
    assert raw["flags"].tolist() == [2, 2, 2]


def test_what_was_never_heard_is_an_empty_column() -> None:
    for batch in (decode(b""), decode(motion_frames(1)[0])):
        assert batch.column("latitude_deg").shape == (0,)
        assert batch.column("vehicle_name").shape == (0,)
        assert batch.column("speed_mps", vehicle=77).shape == (0,)
        assert batch.times("fix").at_s.shape == (0,)
        assert batch.raw("fix").shape == (0,)
        assert batch.payloads(0x60) == []
    assert decode(b"").first_vehicle is None
    with pytest.raises(KeyError):
        decode(b"").column("flux_v")
    with pytest.raises(KeyError):
        decode(b"").times("engine")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"".join(motion_frames(3)),
        b"".join(motion_frames(3)) + b"".join(motion_frames(2, vehicle=9)),
    ],
)
def test_columns_are_of_their_types_however_much_was_heard(data: bytes) -> None:
    for batch in (decode(data), decode(data, np.array([5]), np.array([len(data)], np.uint16))):
        times = batch.times("motion")
        assert [getattr(times, each.name).dtype for each in fields(times)] == [
            np.float64, np.float64, np.uint16, np.int32, np.bool_, np.bool_,
        ]  # fmt: skip
        for kind in ("motion", "fix"):
            for number in (None, 77):
                columns = batch.raw(kind, number)
                assert columns.dtype.itemsize == HEADER.size + TABLE.by_name[kind].layout.size
                assert batch.times(kind, number).sequence.dtype == np.uint16
        assert batch.column("speed_mps").dtype == np.float64
        assert batch.column("brake_on").dtype == np.bool_
        assert batch.known("brake_on").dtype == np.bool_
        assert batch.known("vehicle_name").dtype == np.bool_


def test_the_vehicle_meant_is_the_first_one_heard() -> None:
    data = motion_frames(1, vehicle=9)[0] + b"".join(motion_frames(3, vehicle=2))
    batch = decode(data)
    assert batch.vehicles == (9, 2)
    assert batch.first_vehicle == 9
    assert len(batch.column("speed_mps")) == 1
    assert len(batch.column("speed_mps", vehicle=2)) == 3


def test_a_frame_arrives_with_the_chunk_that_holds_its_delimiter() -> None:
    first, second = motion_frames(2)
    sizes = np.array([0, len(first) - 1, 1, 5, 0, len(second) - 5, 0])
    batch = decode(first + second, np.arange(7.0), sizes)
    assert batch.times("motion").at_s.tolist() == [2.0, 5.0]


@pytest.mark.parametrize("sizes", [None, np.array([32]), np.array([30, 3])])
def test_chunks_must_add_up(sizes: NDArray[np.int64] | None) -> None:
    for data in (motion_frames(1)[0], b""):
        with pytest.raises(ValueError, match=r"^the chunks do not add up to the data$"):
            decode(data, np.array([0.0]), sizes)


def test_an_unknown_kind_is_kept() -> None:
    frames = [
        wrap(HEADER.pack(0x60, 1, number, 10_000 * number) + payload)
        for number, payload in enumerate([b"one", b"", b"longer than the first"])
    ]
    batch = decode(b"".join(frames))
    assert batch.unknown == {0x60: 3}
    assert batch.payloads(0x60) == [b"one", b"", b"longer than the first"]
    assert batch.times(0x60).vehicle_s.tolist() == [0.0, 0.01, 0.02]


def test_longer_and_usual_payloads_of_a_kind_are_one_column() -> None:
    power = TABLE.by_name["power"]
    payloads = [
        power.encode({"pack_voltage_v": 15.0 + number}) + b"new" * (number % 2)
        for number in range(6)
    ]
    frames = [
        wrap(HEADER.pack(power.code, 1, number, 10_000 * number) + payload)
        for number, payload in enumerate(payloads)
    ]
    batch = decode(b"".join(frames))
    assert batch.column("pack_voltage_v").tolist() == [15.0, 16.0, 17.0, 18.0, 19.0, 20.0]
    assert batch.times("power").sequence.tolist() == [0, 1, 2, 3, 4, 5]
    assert batch.payloads("power") == payloads
