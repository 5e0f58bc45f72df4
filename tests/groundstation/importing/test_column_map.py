"""The map that a user edits: it comes back as it was written, and errors name their line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.errors import SessionFileError, SettingsError
from groundstation.importing.column_map import (
    ColumnEntry,
    ColumnMap,
    TimeColumn,
    load_map,
    map_text,
    parse_map,
)
from groundstation.importing.csv_log import csv_log, read_mapped
from groundstation.importing.layout import FileLayout
from protocol import standard_table
from tests.groundstation.importing.reading import recorded

TABLE = standard_table()

HEAD = '[time]\ncolumn = "t"\n'


@given(st.text(min_size=1, max_size=80), st.sampled_from([",", ";", "\t", "|", " "]))
def test_whatever_a_column_is_called_comes_back(name: str, delimiter: str) -> None:
    column_map = ColumnMap(
        file=FileLayout(delimiter=delimiter, decimal=".", first_line=3),
        time=TimeColumn(column=name, unit="ms", since_1970=True),
        column=(ColumnEntry(name=name, channel="speed_mps", unit="km/h", sign=-1),),
        fixes_repeat=True,
    )
    assert parse_map(map_text(column_map), "map", TABLE) == column_map


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('[time]\ncolumn = "t"\nunits = "ms"\n', 3, "units"),
        ('[time]\ncolumn = "t"\nunit = "hours"\n', 3, "hours"),
        (
            HEAD + '[[column]]\nname = "v"\nchannel = "speed_mps"\nunit = "furlongs"\n',
            5,
            "furlongs",
        ),
        (HEAD + '[[column]]\nname = "v"\nchannel = "vehicle_name"\n', 5, "text"),
        (HEAD + '[[column]]\nname = "v"\nchannel = "flags"\n', 5, "brake_on"),
        (
            HEAD + '[[column]]\nname = "v"\nchannel = "speed_mps"\n'
            '[[column]]\nname = "w"\nchannel = "speed_mps"\n',
            8,
            "twice",
        ),
        (HEAD + '[[column]]\nname = "v"\nchannel = "../x"\n', 5, "channel"),
        (HEAD + '[[column]]\nname = "v"\nchannel = "x"\nsign = 2\n', 6, "sign"),
        (HEAD + '[[column]]\nname = "v"\nchannel = "x"\nsigns = 1\n', 6, "signs"),
        (HEAD + '[[column]]\nchannel = "x"\n', 3, "name"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(text: str, line: int, said: str) -> None:
    with pytest.raises(SettingsError, match=rf"line {line}\b.*") as error:
        parse_map(text, "map.toml", TABLE)
    assert said in str(error.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[time]\n", "needs a column or rate_hz"),
        ("", "time"),
        ("[time", "not TOML"),
        (HEAD + "column = 3\n", "column"),
        (HEAD + "[[file]]\n", "file"),
    ],
)
def test_other_mistakes_are_told(text: str, said: str) -> None:
    with pytest.raises(SettingsError) as error:
        parse_map(text, "map.toml", TABLE)
    assert said in str(error.value)


def test_a_map_is_followed(tmp_path: Path) -> None:
    log, map_path = tmp_path / "log.csv", tmp_path / "map.toml"
    log.write_text("n;v;a\n" + "\n".join(f"{n};{n * 3, 6};-1" for n in range(20)).replace("(", ""))
    log.write_text(
        "n;v;a\n" + "\n".join(f"{n};{n * 36 / 10:.1f}".replace(".", ",") + ";-1" for n in range(20))
    )
    map_path.write_text(
        '[time]\ncolumn = "n"\nrate_hz = 10\n'
        '[[column]]\nname = "v"\nchannel = "speed_mps"\nunit = "km/h"\n'
        '[[column]]\nname = "a"\nchannel = "accel_z_g"\nunit = "g"\nsign = -1\n'
        '[[column]]\nname = "n"\nchannel = "countdown"\nunit = "rows"\nsign = -1\n'
    )
    column_map = load_map(map_path, TABLE)
    batch = recorded(csv_log(read_mapped(log, column_map), column_map, TABLE))
    assert batch.column("speed_mps").tolist() == [float(n) for n in range(20)]
    assert batch.column("accel_z_g").tolist() == [1.0] * 20
    assert batch.column("countdown").tolist() == [-float(n) for n in range(20)]
    np.testing.assert_allclose(batch.times("motion").at_s, np.arange(20) / 10)


def test_a_column_that_is_not_there_is_named(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("t,v\n" + "\n".join(f"{n},1" for n in range(20)))
    column_map = parse_map(HEAD + '[[column]]\nname = "w"\nchannel = "speed_mps"\n', "map", TABLE)
    with pytest.raises(SessionFileError, match="no column 'w'"):
        read_mapped(log, column_map)


def test_what_the_map_says_of_the_layout_comes_before_what_is_found(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    rows = [f"{n + 2},5;{n},25;7" for n in range(40)]
    log.write_text("\n".join(["\xfc;v;w", "0;0;0", "1;1;1", *rows]), encoding="latin-1")
    text = (
        '[file]\ndelimiter = ";"\ndecimal = ","\nencoding = "latin-1"\nfirst_line = 4\n'
        '[time]\ncolumn = "\xfc"\n[[column]]\nname = "v"\nchannel = "speed_mps"\n'
    )
    with pytest.raises(SessionFileError, match="no column"):
        # The row before the first one is taken for the names.
        read_mapped(log, parse_map(text, "map", TABLE))
    column_map = parse_map(text.replace("first_line = 4", "first_line = 2"), "map", TABLE)
    batch = recorded(csv_log(read_mapped(log, column_map), column_map, TABLE))
    assert batch.column("speed_mps").tolist() == [0.0, 1.0, *(n + 0.25 for n in range(40))]


@pytest.mark.parametrize(
    "line",
    ['delimiter = "a"', 'delimiter = ""', 'encoding = "idna"', 'decimal = "x"', "first_line = 0"],
)
def test_a_layout_that_cannot_be_is_refused(line: str) -> None:
    with pytest.raises(SettingsError, match="line 2"):
        parse_map(f"[file]\n{line}\n{HEAD}", "map", TABLE)
