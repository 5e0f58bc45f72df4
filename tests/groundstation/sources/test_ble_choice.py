from __future__ import annotations

import pytest
from bleak.backends.device import BLEDevice

from groundstation.sources.address import BleAddress
from groundstation.sources.ble_choice import KnownCar, Lookout
from groundstation.sources.ble_scan import Sighting

A, B, C = (f"C0:00:00:00:00:0{number}" for number in (1, 2, 3))


def sighting(address: str, rssi_dbm: float | None = -60.0, name: str = "CAR-1") -> Sighting:
    return Sighting(BLEDevice(address, name, None), address, name, rssi_dbm, frozenset())


def chosen(lookout: Lookout) -> tuple[str, list[str]] | None:
    choice = lookout.choose()
    if choice is None:
        return None
    return choice.sighting.address, [other.address for other in choice.others]


def test_by_its_name_whatever_the_case_the_strongest() -> None:
    lookout = Lookout(BleAddress("Car-1"))
    assert not lookout.knows_which
    lookout.hear(sighting(C, name="CAR-2"))
    assert not lookout.found.is_set()
    for address, rssi_dbm in ((A, -70.0), (B, -50.0), (C, None)):
        lookout.hear(sighting(address, rssi_dbm))
    assert lookout.found.is_set()
    assert chosen(lookout) == (B, [A, C])


def test_the_latest_strength_counts() -> None:
    lookout = Lookout(BleAddress("CAR-1"))
    for address, rssi_dbm in ((A, -40.0), (B, -50.0), (A, -80.0)):
        lookout.hear(sighting(address, rssi_dbm))
    assert chosen(lookout) == (B, [A])


def test_by_its_address_whatever_its_name() -> None:
    lookout = Lookout(BleAddress(A))
    assert lookout.knows_which
    lookout.hear(sighting(B))
    assert not lookout.found.is_set()
    assert chosen(lookout) is None
    lookout.hear(sighting(A, name=""))
    assert lookout.found.is_set()
    assert chosen(lookout) == (A, [])


def test_a_name_that_looks_like_no_address_is_none() -> None:
    lookout = Lookout(BleAddress("C0:00"))
    lookout.hear(sighting(A, name="C0:00"))
    assert chosen(lookout) == (A, [])


def test_one_that_is_only_remembered_is_taken_when_nothing_better_is_heard() -> None:
    lookout = Lookout(BleAddress(A))
    lookout.hear(sighting(A, None))
    assert not lookout.found.is_set()
    assert chosen(lookout) == (A, [])


@pytest.mark.parametrize(
    ("heard", "found", "wanted"),
    [
        ([A, B], True, (A, [B])),  # it itself, though the other is stronger
        ([B], False, None),  # somebody else's
        ([C], False, (C, [])),  # new: ours under another address
        ([B, C], False, (C, [B])),
        ([A, C], True, (A, [C])),
        ([], False, None),
    ],
)
def test_a_car_that_was_connected_once(
    heard: list[str], found: bool, wanted: tuple[str, list[str]] | None
) -> None:
    lookout = Lookout(BleAddress("CAR-1"), KnownCar(A, frozenset({B})))
    assert lookout.knows_which
    for address in heard:
        lookout.hear(sighting(address, {A: -90.0, B: -30.0, C: -60.0}[address]))
    assert lookout.found.is_set() is found
    assert chosen(lookout) == wanted
