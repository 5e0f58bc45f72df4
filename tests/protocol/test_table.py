"""The one table: read, checked, and the codec that comes of it."""

from __future__ import annotations

import os
import subprocess
import sys
from math import inf, isnan, nan
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import protocol
from protocol import Field, Kind, TableError, Value, load_table, standard_table
from protocol.table import MAX_PAYLOAD_BYTES, Table
from tests.protocol.samples import OWN_KINDS, own_table

ALL_KINDS = own_table().kinds


def measured(each: Field) -> st.SearchStrategy[Value]:
    """Return values that a field can hold, and None."""
    if each.is_text:
        letters = st.characters(exclude_categories=("C", "Z"))
        return st.none() | st.text(letters, min_size=1, max_size=each.size // 4)
    if each.per_unit == 1:
        return st.none() | st.integers(int(each.min), int(each.max))
    return st.none() | st.floats(each.min, each.max)


@st.composite
def samples(draw: st.DrawFn) -> tuple[Kind, dict[str, Value]]:
    kind = draw(st.sampled_from(ALL_KINDS))
    values: dict[str, Value] = {}
    for each in kind.fields:
        if each.bits:
            known = draw(st.booleans())
            values |= {bit: draw(st.booleans()) if known else None for bit in each.bits}
        else:
            values[each.name] = draw(measured(each))
    return kind, values


@given(samples())
def test_a_sample_comes_back_equal_up_to_half_a_step(sample: tuple[Kind, dict[str, Value]]) -> None:
    kind, values = sample
    payload = kind.encode(values)
    assert len(payload) == kind.layout.size
    decoded = kind.decode(payload)
    assert list(decoded) == list(values)
    for each in kind.fields:
        for channel in each.channels:
            sent, got = values[channel], decoded[channel]
            if isinstance(sent, float):
                assert isinstance(got, float)
                # A little more than half, for the rounding of the values themselves.
                assert abs(got - sent) <= 0.5001 / each.per_unit
            else:
                assert got == sent
                assert type(got) is type(sent)
    assert kind.encode(decoded) == payload


@given(samples(), st.binary(max_size=20))
def test_bytes_behind_the_known_fields_change_nothing(
    sample: tuple[Kind, dict[str, Value]], extra: bytes
) -> None:
    kind, values = sample
    payload = kind.encode(values)
    assert kind.decode(payload + extra) == kind.decode(payload)


@pytest.mark.parametrize("kind", ALL_KINDS, ids=lambda kind: kind.name)
def test_values_beyond_the_range_are_clamped(kind: Kind) -> None:
    for each in kind.fields:
        if each.is_text or each.bits:
            continue
        for value, raw in ((inf, each.raw_max), (-inf, each.raw_min), (1e12, each.raw_max)):
            assert each.to_raw(value) == raw
        for value in (None, nan):
            assert each.to_raw(value) == each.unknown


@pytest.mark.parametrize("kind", ALL_KINDS, ids=lambda kind: kind.name)
def test_any_payload_of_the_right_length_decodes(kind: Kind) -> None:
    for byte in range(256):
        values = kind.decode(bytes([byte]) * kind.layout.size)
        for value in values.values():
            assert value is None or isinstance(value, str) or not isnan(value)


@pytest.mark.parametrize("channel", ["latitude_deg", "control_rssi_dbm", "accel_z_g"])
def test_a_number_outside_its_range_is_not_measured(channel: str) -> None:
    kind, each = standard_table().by_channel[channel]
    for raw, is_measured in (
        (each.raw_min - 1, False),
        (each.raw_min, True),
        (each.raw_max, True),
        (each.raw_max + 1, False),
    ):
        payload = kind.layout.pack(*(raw if one is each else _nothing(one) for one in kind.fields))
        assert (kind.decode(payload)[channel] is not None) is is_measured


def _nothing(each: Field) -> int | bytes:
    return each.to_raw(None)


def test_values_print_as_they_were_meant() -> None:
    # 0.1 + 0.2 and its like: a value is the nearest double to the decimal number.
    kind = standard_table().by_name["motion"]
    values = {"speed_mps": 20.07, "accel_x_g": -0.3, "yaw_rate_dps": 0.7}
    decoded = kind.decode(kind.encode(values))
    assert [repr(decoded[name]) for name in values] == ["20.07", "-0.3", "0.7"]


def test_flags_may_be_given_as_bits_or_as_a_number() -> None:
    kind = standard_table().by_name["motion"]
    assert kind.encode({"flags": 5}) == kind.encode(
        {"failsafe_active": True, "stabiliser_on": False, "brake_on": True, "sensor_clipped": None}
    )
    assert kind.encode({"brake_on": False})[-1] == 0
    assert kind.encode({"brake_on": None})[-1] == 255


def test_text_is_cut_between_characters_and_made_safe() -> None:
    kind = standard_table().by_name["ident"]

    def name(raw: bytes) -> Value:
        return kind.decode(raw.ljust(kind.layout.size, b"\0"))["vehicle_name"]

    assert kind.decode(kind.encode({"vehicle_name": "ä" * 20}))["vehicle_name"] == "ä" * 8
    assert kind.decode(kind.encode({"vehicle_name": "a" + "ä" * 20}))["vehicle_name"] == (
        "a" + "ä" * 7
    )
    assert name(b"\x1b[31mred\x07") == "\ufffd[31mred\ufffd"
    assert name(b"\xff\xfe") == "\ufffd\ufffd"
    assert name("ab\u202edc".encode()) == "ab\ufffddc"
    assert name(b"") is None


def test_the_standard_kinds() -> None:
    table = standard_table()
    assert [(kind.code, kind.name) for kind in table.kinds] == [
        (1, "motion"), (2, "fix"), (3, "radio"), (4, "power"), (5, "ident"),
    ]  # fmt: skip
    assert table.by_code[3] is table.by_name["radio"]
    assert all(kind.layout.size <= MAX_PAYLOAD_BYTES for kind in table.kinds)


def test_channels_are_found_by_name() -> None:
    table = standard_table()
    motion = table.by_name["motion"]
    brake, speed = table.field("brake_on"), table.field("speed_mps")
    assert brake is not None
    assert brake.name == "flags"
    assert speed in motion.fields
    assert table.by_channel["brake_on"] == (motion, brake)
    assert table.field("flags") is None
    assert table.field("flux_v") is None


def test_a_builders_kinds_come_behind_the_standard_ones() -> None:
    table = own_table()
    assert [kind.name for kind in table.kinds[-2:]] == ["motor", "switches"]
    motor = table.by_code[0x80]
    assert motor.rate_hz == (10.0, 20.0)
    assert [each.label for each in motor.fields] == ["motor_rpm", "tyre_temperature_c", "note"]
    assert "motor" not in standard_table().by_name
    assert table.wire_version == standard_table().wire_version == 1


def test_a_builders_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(OWN_KINDS, encoding="utf-8")
    assert load_table(path) == own_table()
    assert load_table() is standard_table()


def test_a_builders_file_is_utf_8_whatever_the_machines_encoding(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(kind_text(label="'Öl in °C'"), encoding="utf-8")
    script = (
        "import pathlib, sys, protocol\n"
        "print(ascii(protocol.load_table(pathlib.Path(sys.argv[1])).field('count').label))"
    )
    # The encoding is chosen when the interpreter starts: here ASCII, or what the system has.
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)],
        env={**os.environ, **plain, "PYTHONPATH": str(Path(protocol.__file__).parent.parent)},
        capture_output=True,
        text=True,
    )
    assert (done.stdout.strip(), done.stderr) == (ascii("Öl in °C"), "")


def test_a_builders_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    missing, binary = tmp_path / "no.toml", tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(TableError, match=r"no\.toml: cannot be read \(No such file"):
        load_table(missing)
    with pytest.raises(TableError, match=r"binary\.toml: cannot be read \(not UTF-8 text\)"):
        load_table(binary)


def test_what_a_builders_file_has_wrong_is_told_with_its_path(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text("[[kind]]\nname = 'own'\n", encoding="utf-8")
    with pytest.raises(TableError) as refused:
        load_table(path)
    assert str(refused.value).startswith(f"{path}: kind own: code must be")


FIELD = {"name": "'count'", "type": "'u8'", "min": "0", "max": "200", "unknown": "255"}


def kind_text(*, name: str = "'own'", code: str = "0x80", **field: str | None) -> str:
    entries = {key: value for key, value in {**FIELD, **field}.items() if value is not None}
    lines = "\n".join(f"{key} = {value}" for key, value in entries.items())
    return f"[[kind]]\nname = {name}\ncode = {code}\n[[kind.field]]\n{lines}\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("kind = [", "not TOML"),
        ("[[kinds]]\nname = 'own'", r"unknown key kinds, only \[\[kind\]\] is read"),
        ("kind = 3", r"`kind` must be a list of tables, written \[\[kind\]\]"),
        ("kind = [1]", "`kind` must be a list of tables"),
        ("[[kind]]\nname = 'own'\ncode = 128\nfield = 'x'", "`field` must be a list of tables"),
        ("[[kind]]\nname = 'own'\ncode = 128", "payload has 0 bytes, 1 to 54 fit"),
        (kind_text(type="'text55'"), "text has no max, min, unknown"),
        (kind_text(name="3"), "a kind: name 3 must be lower-case letters, digits and _"),
        (kind_text(name="'Own'"), "name 'Own' must be lower-case"),
        (kind_text(name="'motion'"), "kind motion is there twice"),
        (kind_text(code="0x05"), "code 0x05 is not in 0x80 to 0xfe"),
        (kind_text(code="0xFF"), "code must be a whole number from 0x01 to 0xfe"),
        (kind_text(code="true"), "code must be a whole number"),
        (kind_text(code="128.0"), "code must be a whole number"),
        (kind_text() + kind_text(name="'other'"), "kind code 0x80 is there twice"),
        (kind_text() + kind_text(name="'other'", code="0x81"), "channel count is there twice"),
        (kind_text(code="0x80\ncolour = 'red'"), "kind own: unknown key colour"),
        (kind_text(name="'own'\nrate_hz = [3]"), "rate_hz must be two numbers"),
        (kind_text(name="''"), "name '' must be lower-case"),
        (kind_text(name="'own'", type=None), "type must be one of u8, i8, u16, i16, u32, i32"),
        (kind_text(type="'u64'"), "type must be one of"),
        (kind_text(type="'text0'"), "type must be one of"),
        (kind_text(type="8"), "type is 8, not str"),
        (kind_text(per_unit="0"), "per_unit must be 1 to 1000000000"),
        (kind_text(per_unit="10.0"), "per_unit is 10.0, not int"),
        (kind_text(per_unit="10000000000000"), "per_unit must be 1 to 1000000000"),
        (kind_text(digits="10"), "digits must be 0 to 9"),
        (kind_text(digits="true"), "digits is True, not int"),
        (kind_text(max="256"), "min to max does not fit u8"),
        (kind_text(min="-1"), "min to max does not fit u8"),
        (kind_text(min="5", max="4"), "min to max does not fit u8"),
        (kind_text(max=None), "max must be given as a number"),
        (kind_text(unknown=None), "unknown must be given as a number"),
        (kind_text(unknown="255.0"), "unknown is 255.0, not int"),
        (kind_text(unknown="200"), "unknown must fit u8 and lie outside min to max"),
        (kind_text(unknown="256"), "unknown must fit u8 and lie outside min to max"),
        (kind_text(size="3"), "unknown key size"),
        (kind_text(bits="['a', 'b', 'c', 'd', 'e', 'f', 'g', 'h']"), "more bits than max has room"),
        (kind_text(bits="['a']", per_unit="2", max="100"), "bits need per_unit 1 and min 0"),
        (kind_text(bits="['a']", min="1"), "bits need per_unit 1 and min 0"),
        (kind_text(bits="['a', 'a']"), "channel a is there twice"),
        (kind_text(bits="['count']"), "channel count is there twice"),
        (kind_text(bits="['speed_mps']"), "channel speed_mps is there twice"),
        (kind_text(bits="['A b']"), "kind own, field count: name 'A b' must be lower-case"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused_by_name(text: str, message: str) -> None:
    with pytest.raises(TableError, match=f"^own.toml: .*{message}"):
        standard_table().extended(text, "own.toml")


def test_a_payload_that_is_too_long_is_refused() -> None:
    text = "[[kind]]\nname = 'own'\ncode = 128\n"
    text += "".join(f"[[kind.field]]\nname = 'note_{n}'\ntype = 'text9'\n" for n in range(7))
    with pytest.raises(TableError, match="kind own: payload has 63 bytes, 1 to 54 fit"):
        standard_table().extended(text, "own.toml")


def test_tables_made_in_code_are_checked_too() -> None:
    kind = Kind("own", 0x80, (Field("count", "u8", unknown=255),))
    with pytest.raises(TableError, match="kind code 0x80 is there twice"):
        Table(1, (kind, kind))
