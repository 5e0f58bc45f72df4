"""A whole recording's bytes to its good frames, many at once.

Owns blocks, COBS and CRC in NumPy. Accepts exactly what `receiver.read_block` accepts: frames of
one length are decoded together, byte by byte over all of them; where too few have a length for
that to pay, `read_block` itself is asked. Byte k of all frames lies contiguous in memory, as
"plane" k, so that every step runs at the speed of the machine's vector unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocol.events import RejectReason
from protocol.framing import CRC_BYTES, MAX_ENCODED_BYTES
from protocol.receiver import read_block
from protocol.table import HEADER

HEADER_DTYPE = np.dtype(
    [("kind", "u1"), ("vehicle", "u1"), ("sequence", "<u2"), ("clock_us", "<u4")]
)
"""The header as NumPy reads it; the same bytes as `HEADER`."""

HEADER_WORD = np.dtype("<u8")
"""The same as one number, because NumPy copies records field by field."""

REASONS = tuple(RejectReason)

GOOD, NOTHING = len(REASONS), len(REASONS) + 1
"""Verdicts on a block that is a frame, and on an empty one; the others are places in `REASONS`."""

TOGETHER = 1 << 16
"""Frames decoded at once: the cost of a NumPy call is spread, a plane stays in the cache."""

WORTHWHILE = 500
"""Fewer frames than this of one length are faster one by one."""

_ROWS_AT_ONCE = 1 << 12
"""Rows turned into planes at once, so that they stay in the cache until all are turned."""

_BYTES_AT_ONCE = 1 << 18
"""Bytes searched for delimiters at once."""

TOO_MANY = MAX_ENCODED_BYTES + 1
"""Stands for every size beyond a frame's."""

_STUFFING = np.uint8(REASONS.index(RejectReason.STUFFING))
_CRC = np.uint8(REASONS.index(RejectReason.CRC))
_TOO_SHORT = np.uint8(REASONS.index(RejectReason.TOO_SHORT))


_Bodies = tuple[NDArray[np.uint8], NDArray[np.void]]
"""Rows of header and payload, and the headers alone."""


@dataclass(frozen=True, slots=True)
class Blocks:
    """What lies between delimiters, also where that is nothing, in the order of the stream."""

    end: NDArray[np.int64]
    """Offset of the delimiter."""
    size: NDArray[np.uint8]
    """Bytes, `TOO_MANY` where no frame has so many."""
    midway: NDArray[np.int64]
    """Which blocks come first on a new link."""


@dataclass(frozen=True, slots=True)
class FrameRows:
    """Good frames of one length, in the order of the stream."""

    place: NDArray[np.int64]
    """Where each stands among all good frames."""
    header: NDArray[np.void]
    """Of `HEADER_DTYPE`."""
    body: NDArray[np.uint8]
    """Header and payload; shape (frames, bytes)."""


def split_blocks(
    stream: NDArray[np.uint8], restarts: Sequence[int] | NDArray[np.integer] = ()
) -> Blocks:
    """Return the blocks of a stream; bytes behind the last delimiter are none.

    Args:
        stream: All bytes.
        restarts: Offsets at which a new link begins: what is unfinished there is dropped.
    """
    end = _delimiters(stream)
    size = np.empty(len(end), np.uint8)
    for begin in range(0, len(end), TOGETHER):
        part = end[begin : begin + TOGETHER]
        whole_size = np.diff(part, prepend=end[begin - 1] if begin else -1) - 1
        size[begin : begin + TOGETHER] = np.minimum(whole_size, TOO_MANY, out=whole_size)
    links = np.array([0, *sorted(restarts)], np.int64)
    midway = np.searchsorted(end, links)
    heard = midway < len(end)
    midway, links = midway[heard], links[heard]
    # Where several links began within a block, the last one counts, which is the shortest.
    np.minimum.at(size, midway, np.minimum(end[midway] - links, TOO_MANY).astype(np.uint8))
    return Blocks(end, size, np.unique(midway))


def read_frames(
    stream: NDArray[np.uint8], blocks: Blocks, payload_needed: NDArray[np.uint8]
) -> tuple[list[FrameRows], NDArray[np.uint8]]:
    """Return the good frames, a group for each length, and the verdict on every block.

    Args:
        stream: All bytes.
        blocks: Where the blocks are.
        payload_needed: By kind code, the least bytes that a payload must have.
    """
    verdict = np.full(len(blocks.end), GOOD, np.uint8)
    bodies = []
    for body, header in _read_groups(stream, blocks, verdict):
        short = np.zeros(len(body), np.bool_)
        for code in np.flatnonzero(payload_needed > body.shape[1] - HEADER.size):
            short |= header["kind"] == code
        if short.any():
            same_size = (blocks.size == _encoded_bytes(body)) & (verdict == GOOD)
            verdict[np.flatnonzero(same_size)[short]] = _TOO_SHORT
            body, header = body[~short], header[~short]
        if len(body):
            bodies.append((body, header))
    rejected = blocks.midway[verdict[blocks.midway] < GOOD]
    verdict[rejected] = REASONS.index(RejectReason.JOINED_MIDWAY)
    size = blocks.size[verdict == GOOD]
    return [
        FrameRows(np.flatnonzero(size == _encoded_bytes(body)), header, body)
        for body, header in bodies
    ], verdict


def _encoded_bytes(body: NDArray[np.uint8]) -> int:
    return 1 + int(body.shape[1]) + CRC_BYTES


def _read_groups(
    stream: NDArray[np.uint8], blocks: Blocks, verdict: NDArray[np.uint8]
) -> Iterator[_Bodies]:
    """Yield good bodies and headers by length, whatever their kind, and judge all other blocks."""
    count = np.zeros(TOO_MANY + 1, np.intp)
    for begin in range(0, len(blocks.size), TOGETHER):
        count += np.bincount(blocks.size[begin : begin + TOGETHER], minlength=len(count))
    left = np.ones(len(blocks.size), np.bool_)
    for size in np.flatnonzero(count[1:TOO_MANY] >= WORTHWHILE) + 1:
        is_that = blocks.size == size
        yield _read_together(stream, blocks.end, np.flatnonzero(is_that), int(size), verdict)
        left ^= is_that
    block = np.flatnonzero(left)
    verdict[block[blocks.size[block] == 0]] = NOTHING
    verdict[block[blocks.size[block] == TOO_MANY]] = REASONS.index(RejectReason.TOO_LONG)
    yield from _read_singly(stream, blocks, block[verdict[block] == GOOD], verdict)


def _read_singly(
    stream: NDArray[np.uint8],
    blocks: Blocks,
    chosen: NDArray[np.int64],
    verdict: NDArray[np.uint8],
) -> Iterator[_Bodies]:
    found: dict[int, list[bytes]] = {}
    ends, sizes = blocks.end[chosen].tolist(), blocks.size[chosen].tolist()
    for block, end, size in zip(chosen.tolist(), ends, sizes, strict=True):
        body = read_block(stream[end - size : end].tobytes())
        if isinstance(body, RejectReason):
            verdict[block] = REASONS.index(body)
        else:
            found.setdefault(len(body), []).append(body)
    for size, bodies in found.items():
        rows = np.frombuffer(b"".join(bodies), np.uint8).reshape(len(bodies), size)
        yield rows, _header_words(rows).copy().view(HEADER_DTYPE)


def _read_together(
    stream: NDArray[np.uint8],
    ends: NDArray[np.int64],
    block: NDArray[np.int64],
    size: int,
    verdict: NDArray[np.uint8],
) -> _Bodies:
    body_bytes = max(size - 1 - CRC_BYTES, 0)
    body = np.empty((len(block), body_bytes), np.uint8)
    header = np.empty(len(block), HEADER_WORD)
    # Every `size` bytes of the stream as one item, so that a frame is copied in one piece; where
    # that is odd, the delimiter comes along.
    even_size = size + size % 2
    windows: NDArray[np.void] = np.ndarray(
        (len(stream) - even_size + 1,), f"V{even_size}", buffer=stream, strides=(1,)
    )
    # Made once: memory fresh from the system is slower than all that is done with it. Planes
    # that lie a power of two apart would fight for the same lines of the cache.
    together = min(TOGETHER, len(block))
    all_planes = np.empty((even_size, together + 64), np.uint8)
    all_rows = np.empty((together, body_bytes), np.uint8)
    done = 0
    for begin in range(0, len(block), TOGETHER):
        part = block[begin : begin + TOGETHER]
        planes = all_planes[:, : len(part)]
        _gather(windows, ends[part] - size, planes)
        stuffed = _unstuff(planes[:size])
        frames = planes[1:size]
        if len(frames) < HEADER.size + CRC_BYTES:
            verdict[part] = np.where(stuffed, _TOO_SHORT, _STUFFING)
            continue
        fine = stuffed & _crc_is_good(frames)
        rows = all_rows[: len(part)]
        rows[:] = frames[:-CRC_BYTES].T
        good, bad = np.flatnonzero(fine), np.flatnonzero(~fine)
        kept = slice(done, done + len(good))
        np.take(_pieces(rows), good, out=_pieces(body[kept]), mode="clip")
        header[kept] = _header_words(body[kept])
        verdict[part[bad]] = np.where(stuffed[bad], _CRC, _STUFFING)
        done = kept.stop
    return body[:done], header[:done].view(HEADER_DTYPE)


def _pieces(rows: NDArray[np.uint8]) -> NDArray[np.void]:
    """Return rows as one item each: NumPy is slow at copying many short rows."""
    return rows.view(f"V{rows.shape[1]}")[:, 0]


def _header_words(body: NDArray[np.uint8]) -> NDArray[np.uint64]:
    return body[:, : HEADER.size].view(HEADER_WORD)[:, 0]


def _gather(windows: NDArray[np.void], start: NDArray[np.int64], planes: NDArray[np.uint8]) -> None:
    """Write the windows that begin at `start` as planes; two bytes at once, which is faster."""
    for begin in range(0, len(start), _ROWS_AT_ONCE):
        part = slice(begin, begin + _ROWS_AT_ONCE)
        words = windows[start[part]].view("<u2").reshape(-1, len(planes) // 2)
        turned = np.ascontiguousarray(words.T)
        np.copyto(planes[0::2, part], turned, casting="unsafe")
        np.right_shift(turned, 8, out=turned)
        np.copyto(planes[1::2, part], turned, casting="unsafe")


def _unstuff(planes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Turn the COBS code bytes into zeros, in place; return which frames are COBS blocks.

    A code byte says how far the next one is; the chain of them must end where the frame ends.
    Adding a code may wrap past 255, but then lands before the code itself, where no plane comes
    any more: such a chain never ends.
    """
    size = len(planes)
    next_code = planes[0].copy()
    code = np.empty_like(next_code)
    is_code = code.view(np.bool_)
    for place in range(1, size):
        plane = planes[place]
        np.equal(next_code, place, out=is_code)
        np.multiply(code, plane, out=code)
        np.subtract(plane, code, out=plane)
        np.add(next_code, code, out=next_code)
    ends_there: NDArray[np.bool_] = next_code == size
    return ends_there


def _crc_is_good(planes: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Return whether frames given as planes end with their CRC-16/IBM-3740.

    A byte at once, without a table: with x the upper byte of the register and the frame's byte,
    x ^ x>>4 is what the polynomial 0x1021 is taken off by: at bits 12, 5 and 0. Over a frame and
    its CRC the register ends at zero.
    """
    high = np.full(planes.shape[1], 0xFF, np.uint8)
    low = high.copy()
    taken = np.empty_like(high)
    for plane in planes:
        np.bitwise_xor(high, plane, out=high)
        np.right_shift(high, 4, out=taken)
        np.bitwise_xor(taken, high, out=taken)
        np.right_shift(taken, 3, out=high)
        np.bitwise_xor(high, low, out=high)
        # Multiplying and adding, because NumPy is slow at shifting bytes to the left.
        np.multiply(taken, 1 << 4, out=low)
        np.bitwise_xor(high, low, out=high)
        np.add(low, low, out=low)
        np.bitwise_xor(low, taken, out=low)
    is_zero: NDArray[np.bool_] = (high | low) == 0
    return is_zero


def _delimiters(stream: NDArray[np.uint8]) -> NDArray[np.int64]:
    found = [np.empty(0, np.int64)]
    is_zero = np.empty(_BYTES_AT_ONCE, np.bool_)
    for begin in range(0, len(stream), _BYTES_AT_ONCE):
        part = stream[begin : begin + _BYTES_AT_ONCE]
        places = np.flatnonzero(np.equal(part, 0, out=is_zero[: len(part)]))
        places += begin
        found.append(places)
    return np.concatenate(found)
