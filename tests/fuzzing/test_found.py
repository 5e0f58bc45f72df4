"""What fuzzing has found before stays found: each input is read again."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.fuzzing.seeds import seeds_of
from tests.fuzzing.targets import TARGETS

FOUND = sorted((Path(__file__).parent / "found").glob("*/*"))
SPOILED = 40
"""Variants of each honest input: a taste of the fuzzer where it is not installed."""


@pytest.mark.parametrize("path", FOUND, ids=lambda path: f"{path.parent.name}-{path.name[:24]}")
def test_what_was_found_once(path: Path) -> None:
    TARGETS[path.parent.name](path.read_bytes())


@pytest.mark.parametrize("target", sorted(TARGETS))
def test_honest_and_spoiled_input(target: str) -> None:
    chance = random.Random(target)
    for seed in seeds_of(target):
        TARGETS[target](seed)
        for _ in range(SPOILED):
            TARGETS[target](_spoiled(seed, chance))


def _spoiled(data: bytes, chance: random.Random) -> bytes:
    spoiled = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        begin = chance.randrange(len(spoiled))
        match chance.randrange(4):
            case 0:
                spoiled[begin] ^= 1 << chance.randrange(8)
            case 1:
                spoiled[begin] = chance.choice([0, 1, 0x7F, 0x80, 0xFF])
            case 2:
                del spoiled[begin : begin + chance.randint(1, 40)]
            case _:
                spoiled[begin:begin] = spoiled[: chance.randint(1, 60)]
        spoiled = spoiled or bytearray(b"\0")
    return bytes(spoiled)
