"""Where every random number of a simulated run comes from.

Owns the streams: each part of the simulation draws from its own, derived from the seed alone, so
that a changed gain does not move the road, and two set-ups meet the same joints, the same
shadows and the same noise. NumPy draws in blocks; the simulation takes plain floats. It is loaded
when a run begins: to know a scenario's name takes no NumPy.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import IntEnum
from typing import TYPE_CHECKING

from groundstation.errors import UsageError

if TYPE_CHECKING:
    import numpy as np

BLOCK_ROWS = 512


class Stream(IntEnum):
    """Who draws; the number is part of what a seed means, so it never changes."""

    CLOCK = 1
    ROAD = 2
    ROUGHNESS = 3
    GYRO = 4
    DRIVER = 5
    SHADOW = 6
    FADING = 7
    PACKETS = 8
    REPORTS = 9
    INERTIAL = 10
    SATELLITE = 11
    TELEMETRY = 12
    TUMBLE = 13
    SPIKES = 14


def checked_seed(seed: int) -> int:
    """Return the seed.

    Raises:
        UsageError: It is negative.
    """
    if seed < 0:
        raise UsageError(f"a seed is a whole number from 0 up, not {seed}")
    return seed


def generator(seed: int, stream: Stream) -> np.random.Generator:
    """Return the random generator of one stream.

    Args:
        seed: Not negative.
        stream: Who draws.

    Raises:
        UsageError: The seed is negative.
    """
    import numpy as np

    seed = checked_seed(seed)
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(int(stream),)))


def normal_rows(source: np.random.Generator, width: int) -> Iterator[list[float]]:
    """Yield rows of `width` independent normal deviates, without end."""
    while True:
        yield from source.standard_normal((BLOCK_ROWS, width)).tolist()


def normals(source: np.random.Generator) -> Iterator[float]:
    """Yield independent normal deviates, without end."""
    while True:
        yield from source.standard_normal(BLOCK_ROWS).tolist()


def uniforms(source: np.random.Generator) -> Iterator[float]:
    """Yield independent numbers, evenly spread from 0 to 1, without end."""
    while True:
        yield from source.random(BLOCK_ROWS).tolist()
