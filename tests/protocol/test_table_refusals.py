"""A builder's table that cannot be used is refused with a sentence; odd text still encodes."""

from __future__ import annotations

import pytest

from protocol import EncodeError, Sender, TableError, Value, standard_table


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
    ("name", "sent"),
    [
        ("ab\0cd", b"ab" + bytes(14)),
        ("ab\0cd\0ef", b"ab" + bytes(14)),
        ("\ud800x", b"?x" + bytes(14)),
    ],
)
def test_odd_text_is_sent_as_far_as_it_can_be(name: str, sent: bytes) -> None:
    payload = standard_table().by_name["ident"].encode({"vehicle_name": name})
    assert payload[:16] == sent
    assert Sender().encode("ident", {"vehicle_name": name}, 0)


HEAD = "[[kind]]\nname = 'own'\ncode = 0x80\n"
FIELD = "[[kind.field]]\nname = 'count'\n"
NUMBER = HEAD + FIELD + "type = 'u8'\nunknown = 255\n"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("b = 1\na = 2", "unknown key a, b, only [[kind]] is read"),
        ("kind = 3", "`kind` must be a list of tables, written [[kind]]"),
        ("[[kind]]", "a kind: name None must be lower-case letters, digits and _"),
        ("[[kind]]\nname = 'own'", "kind own: code must be a whole number from 0x01 to 0xfe"),
        ("[[kind]]\nname = 'own'\ncode = 1\n" + FIELD + "type = 'text1'",
         "kind own: code 0x01 is not in 0x80 to 0xfe"),
        (HEAD + "size = 1\ncolour = 2", "kind own: unknown key colour, size"),
        (HEAD + "rate_hz = 5", "kind own: rate_hz must be two numbers, lowest and highest"),
        (HEAD, "kind own: payload has 0 bytes, 1 to 54 fit"),
        (HEAD + "[[kind.field]]\nname = 3",
         "a field of kind own: name 3 must be lower-case letters, digits and _"),
        (HEAD + FIELD + "size = 1\ncolour = 2",
         "kind own, field count: unknown key colour, size"),
        (HEAD + FIELD + "bits = 3", "kind own, field count: bits must be a list of names"),
        (HEAD + FIELD + "digits = 1.5", "kind own, field count: digits is 1.5, not int"),
        (HEAD + FIELD + "label = 1", "kind own, field count: label is 1, not str"),
        (HEAD + FIELD + "doc = 1", "kind own, field count: doc is 1, not str"),
        (HEAD + FIELD + "type = 'text4'\nper_unit = 2\nmax = 3",
         "kind own, field count: text has no max, per_unit"),
        (HEAD + FIELD + "type = 'u64'",
         "kind own, field count: type must be one of u8, i8, u16, i16, u32, i32 or textN"),
        (NUMBER + "min = 'a'", "kind own, field count: min must be given as a number"),
        (NUMBER + "min = 0\nmax = 5\nbits = ['A']",
         "kind own, field count: name 'A' must be lower-case letters, digits and _"),
        (NUMBER + "min = 0\nmax = 5\nper_unit = 0",
         "kind own, field count: per_unit must be 1 to 1000000000"),
        (NUMBER + "min = 0\nmax = 5\ndigits = -1", "kind own, field count: digits must be 0 to 9"),
        (NUMBER + "min = 0\nmax = 256", "kind own, field count: min to max does not fit u8"),
        (NUMBER + "min = 0\nmax = 255",
         "kind own, field count: unknown must fit u8 and lie outside min to max"),
        (HEAD + FIELD + "type = 'u8'\nmin = 3\nmax = 5\nunknown = 3",
         "kind own, field count: unknown must fit u8 and lie outside min to max"),
        (NUMBER + "min = 1\nmax = 5\nbits = ['a']",
         "kind own, field count: bits need per_unit 1 and min 0"),
        (NUMBER + "min = 0\nmax = 6\nbits = ['a', 'b', 'c']",
         "kind own, field count: more bits than max has room for"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_in_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(TableError) as refused:
        standard_table().extended(text, "own.toml")
    assert str(refused.value) == f"own.toml: {sentence}"


def test_what_lies_on_the_border_is_taken() -> None:
    table = standard_table().extended(
        """
[[kind]]
name = "own"
code = 0xFE
rate_hz = [0, 2]
doc = "Ours."
[[kind.field]]
name = "switches"
type = "u8"
min = 0
max = 7
unknown = 255
bits = ["first", "second", "third"]
[[kind.field]]
name = "fine"
type = "i32"
per_unit = 1000000000
min = -1
max = 2
digits = 9
unknown = -2147483648
doc = "In steps of a nano."
[[kind.field]]
name = "coarse"
type = "u8"
label = "how coarse"
min = 0
max = 254
unknown = 255
[[kind.field]]
name = "version"
type = "u8"
min = 3
max = 3
unknown = 0
[[kind.field]]
name = "note"
type = "text47"
label = "a note"
doc = "Free."
""",
        "own.toml",
    )
    kind = table.by_code[0xFE]
    assert kind.layout.size == 54
    assert (kind.doc, kind.rate_hz) == ("Ours.", (0.0, 2.0))
    assert [each.label for each in kind.fields] == [
        "switches",
        "fine",
        "how coarse",
        "version",
        "a note",
    ]
    assert [each.doc for each in kind.fields] == ["", "In steps of a nano.", "", "", "Free."]
    values: dict[str, Value] = {"first": True, "second": False, "third": True}
    values |= {"fine": 1.000000001, "coarse": 254, "version": 3, "note": "n" * 47}
    assert kind.decode(kind.encode(values)) == values


def test_a_kind_may_go_without_rate_and_words() -> None:
    kind = standard_table().extended(HEAD + FIELD + "type = 'text1'", "own.toml").by_code[0x80]
    assert (kind.rate_hz, kind.doc) == ((0.0, 0.0), "")


def test_channels_that_no_kind_has_are_named() -> None:
    with pytest.raises(EncodeError) as refused:
        standard_table().by_name["motion"].encode({"warp": 1.0, "flux_v": 2.0})
    assert str(refused.value) == "motion has no field flux_v, warp"
