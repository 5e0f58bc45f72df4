"""A builder's table that cannot be used is refused with a sentence; odd text still encodes."""

from __future__ import annotations

import pytest

from protocol import Sender, TableError, standard_table


def extended(*, kind: str = "", maximum: str = "5", field: str = "", type_name: str = "u8") -> None:
    standard_table().extended(
        f"""
[[kind]]
name = "own"
code = 0x80
{kind}
[[kind.field]]
name = "count"
type = "{type_name}"
min = 0
max = {maximum}
unknown = 255
{field}
""",
        "own.toml",
    )


def test_the_plain_table_can_be_used() -> None:
    extended()
    extended(kind="rate_hz = [1, 2.5]", field='bits = ["one", "two"]')


@pytest.mark.parametrize("maximum", ["inf", "nan", "-inf", "'5'", "true"])
def test_a_range_must_be_finite_numbers(maximum: str) -> None:
    with pytest.raises(TableError, match=r"own\.toml: .*max must be given as a number"):
        extended(maximum=maximum)


@pytest.mark.parametrize("rate", ["5", "[1]", "[1, inf]", "[-1, 2]", "['a', 'b']", "'ab'"])
def test_rates_must_be_two_numbers(rate: str) -> None:
    with pytest.raises(TableError, match="rate_hz must be two numbers"):
        extended(kind=f"rate_hz = {rate}")


@pytest.mark.parametrize("bits", ["3", "'ab'", "[1]"])
def test_bits_must_be_names(bits: str) -> None:
    with pytest.raises(TableError, match="bits must be a list of names"):
        extended(field=f"bits = {bits}")


def test_text_has_no_bits() -> None:
    with pytest.raises(TableError, match="text has no bits"):
        extended(type_name="text8", field='bits = ["one"]')


@pytest.mark.parametrize(
    ("name", "sent"), [("ab\0cd", b"ab" + bytes(14)), ("\ud800x", b"?x" + bytes(14))]
)
def test_odd_text_is_sent_as_far_as_it_can_be(name: str, sent: bytes) -> None:
    payload = standard_table().by_name["ident"].encode({"vehicle_name": name})
    assert payload[:16] == sent
    assert Sender().encode("ident", {"vehicle_name": name}, 0)
