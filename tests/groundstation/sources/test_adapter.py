from __future__ import annotations

from pathlib import Path

from groundstation.sources.adapter import recognise
from groundstation.sources.listing import FoundPort


def adapter(device: str, serial_number: str | None = None, pid: int = 1) -> FoundPort:
    return FoundPort(device, vid=0x1209, pid=pid, serial_number=serial_number)


def moved(device: str, before: list[FoundPort], after: list[FoundPort]) -> str | None:
    known = recognise(device, before)
    assert known is not None
    return known.find(after)


def test_found_by_its_serial_number_under_another_name() -> None:
    before = [adapter("/dev/a", "A7"), adapter("/dev/b", "B8")]
    after = [adapter("/dev/a", "B8"), adapter("/dev/c", "A7")]
    assert moved("/dev/a", before, after) == "/dev/c"


def test_where_it_was_it_is_looked_for_first() -> None:
    before = [adapter("/dev/b")]
    assert moved("/dev/b", before, [adapter("/dev/a"), adapter("/dev/b")]) == "/dev/b"


def test_without_serial_number_the_one_that_was_there_beside_it_is_another() -> None:
    before = [adapter("/dev/a"), adapter("/dev/b")]
    assert moved("/dev/a", before, [adapter("/dev/b")]) is None
    assert moved("/dev/a", before, [adapter("/dev/b"), adapter("/dev/c")]) == "/dev/c"


def test_two_that_could_be_it_are_none() -> None:
    before = [adapter("/dev/a")]
    assert moved("/dev/a", before, [adapter("/dev/b"), adapter("/dev/c")]) is None


def test_another_product_is_another() -> None:
    assert moved("/dev/a", [adapter("/dev/a")], [adapter("/dev/b", pid=2)]) is None


def test_a_port_that_is_not_on_usb_is_not_recognised() -> None:
    assert recognise("/dev/ttyS0", [FoundPort("/dev/ttyS0")]) is None
    assert recognise("/dev/ttyS1", [adapter("/dev/ttyS0")]) is None


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "ttyUSB0").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "ttyUSB0")
    known = recognise(str(tmp_path / "by-id"), [adapter(str(tmp_path / "ttyUSB0"))])
    assert known is not None
    assert known.device == str(tmp_path / "ttyUSB0")


def test_com_names_are_the_same_in_every_spelling() -> None:
    assert recognise("com12", [adapter("COM12")]) is not None
    assert recognise("\\\\.\\COM12", [adapter("COM12")]) is not None
