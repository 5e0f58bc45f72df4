"""NMEA 0183: published sentences with their values, and `pynmea2` as an independent reader."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from functools import reduce
from operator import xor
from pathlib import Path

import numpy as np
import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.errors import SessionFileError
from groundstation.importing.log import ForeignLog
from groundstation.importing.nmea import checked_fields, nmea_log, read_fixes
from protocol import standard_table
from tests.groundstation.importing.reading import recorded

# Sentences that several public manuals quote; their checksums were recomputed.
GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
RMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"
VTG = "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48"
GLL = "$GPGLL,4916.45,N,12311.12,W,225444,A*31"
GGA_WEST = "$GPGGA,092750.000,5321.6802,N,00630.3372,W,1,8,1.03,61.7,M,55.2,M,,*76"
RMC_2009 = "$GPRMC,001207.00,A,4911.2236,N,12254.4779,W,012.3,201.0,170109,,*2D"
RMC_2010 = "$GPRMC,222414.00,A,4915.3920,N,12259.8072,W,000.2,242.0,211210,,,A*49"


def sentence(content: str) -> str:
    return f"${content}*{reduce(xor, content.encode()):02X}"


def log_of(tmp_path: Path, *lines: str) -> ForeignLog:
    path = tmp_path / "log.nmea"
    path.write_text("\r\n".join(lines) + "\r\n")
    return nmea_log(path, "utf-8", standard_table())


def only(line: str) -> dict[str, float]:
    (fix,) = read_fixes([line], Counter())
    return fix.values


def test_gga() -> None:
    assert only(GGA) == pytest.approx(
        {
            "fix_type": 3.0,
            "satellites": 8.0,
            "latitude_deg": 48.1173,
            "longitude_deg": 11.5166667,
            "altitude_m": 545.4,
        }
    )
    west = only(GGA_WEST)
    assert west["latitude_deg"] == pytest.approx(53 + 21.6802 / 60)
    assert west["longitude_deg"] == pytest.approx(-(6 + 30.3372 / 60))


def test_rmc_with_its_date() -> None:
    (fix,) = read_fixes([RMC], Counter())
    assert fix.values["ground_speed_mps"] == pytest.approx(11.523556, abs=1e-6)
    assert fix.values["course_deg"] == 84.4
    assert fix.day is not None
    assert (fix.day.isoformat(), fix.day_s) == ("1994-03-23", 12 * 3600 + 35 * 60 + 19)


def test_gll_and_vtg() -> None:
    (fix,) = read_fixes([GLL, VTG], Counter())
    assert fix.values["latitude_deg"] == pytest.approx(49 + 16.45 / 60)
    assert fix.values["longitude_deg"] == pytest.approx(-(123 + 11.12 / 60))
    assert fix.values["ground_speed_mps"] == pytest.approx(5.5 * 1852 / 3600)
    assert fix.values["course_deg"] == 54.7


@pytest.mark.parametrize("line", [GGA, RMC, GLL, GGA_WEST, RMC_2009, RMC_2010])
def test_the_place_is_that_of_an_independent_reader(line: str) -> None:
    theirs = pynmea2.parse(line, check=True)
    ours = only(line)
    assert ours["latitude_deg"] == pytest.approx(theirs.latitude, abs=1e-9)
    assert ours["longitude_deg"] == pytest.approx(theirs.longitude, abs=1e-9)


@given(
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.floats(0, 200),
    st.integers(0, 86_399),
    st.sampled_from(["GP", "GN", "GL", "GA", "BD"]),
)
def test_whatever_an_independent_writer_says_is_read(
    latitude: float, longitude: float, knots: float, day_s: int, talker: str
) -> None:
    def angle(value: float, width: int) -> str:
        minutes = round(abs(value) * 60 * 1e5)
        return f"{minutes // 6_000_000:0{width}d}{minutes % 6_000_000 / 1e5:08.5f}"

    clock = f"{day_s // 3600:02d}{day_s // 60 % 60:02d}{day_s % 60:02d}.00"
    fields = (
        clock, "A", angle(latitude, 2), "S" if latitude < 0 else "N",
        angle(longitude, 3), "W" if longitude < 0 else "E", f"{knots:.3f}", "12.3", "010126",
    )  # fmt: skip
    theirs = pynmea2.RMC(talker, "RMC", (*fields, "", "", "A"))
    (fix,) = read_fixes([str(theirs)], Counter())
    assert fix.day_s == day_s
    assert fix.values["latitude_deg"] == pytest.approx(theirs.latitude, abs=1e-9)
    assert fix.values["longitude_deg"] == pytest.approx(theirs.longitude, abs=1e-9)
    assert fix.values["ground_speed_mps"] == pytest.approx(knots * 1852 / 3600, abs=3e-4)


def test_sentences_of_one_moment_are_one_fix(tmp_path: Path) -> None:
    log = log_of(tmp_path, GGA, RMC, "$GPVTG,084.4,T,,M,022.4,N,041.5,K*58")
    batch = recorded(log)
    assert log.started == datetime(1994, 3, 23, 12, 35, 19, tzinfo=UTC)
    assert len(batch.times("fix").at_s) == 1
    assert batch.column("ground_speed_mps")[0] == 11.52
    assert batch.column("satellites")[0] == 8
    assert batch.column("altitude_m")[0] == 545.4
    assert np.isnan(batch.column("horizontal_accuracy_m")[0])


def test_midnight_is_passed(tmp_path: Path) -> None:
    lines = [
        sentence(f"GNRMC,{clock},A,4807.038,N,01131.000,E,1.0,84.4,{day},,,A")
        for clock, day in (
            ("235959.50", "311226"),
            ("000000.00", "010127"),
            ("000000.50", "010127"),
        )
    ]
    log = log_of(tmp_path, *lines)
    assert recorded(log).times("fix").at_s.tolist() == [0.0, 0.5, 1.0]
    undated = [
        sentence(f"GNGGA,{clock},4807.038,N,01131.000,E,1,8,1.0,5.0,M,,M,,")
        for clock in ("235959.50", "000000.00", "000000.50")
    ]
    log = log_of(tmp_path, *undated)
    assert recorded(log).times("fix").at_s.tolist() == [0.0, 0.5, 1.0]
    assert log.started is None


def test_only_good_checksums_count(tmp_path: Path) -> None:
    log = log_of(
        tmp_path,
        GGA,
        GGA.replace("4807", "4907"),
        GGA.partition("*")[0].replace("123519", "123520"),
        "[12:00] received " + RMC,
        sentence("GPGSV,1,1,00"),
        "noise \x1b[2J",
        sentence("GPGGA,123521"),
    )
    assert log.counts["sentences with a wrong checksum"] == 1
    assert log.counts["sentences without a checksum, or cut"] == 1
    assert log.counts["sentences of other kinds"] == 1
    assert log.counts["lines that are no sentence"] == 1
    assert log.counts["sentences that are too short"] == 1
    assert recorded(log).column("latitude_deg").tolist() == [48.1173]


def test_a_receiver_without_a_fix_has_no_place(tmp_path: Path) -> None:
    lost = sentence("GPRMC,123520,V,4807.038,N,01131.000,E,022.4,084.4,230394,,")
    batch = recorded(log_of(tmp_path, RMC, lost))
    assert batch.column("fix_type").tolist()[1] == 0
    assert np.isnan(batch.column("latitude_deg")[1])
    with pytest.raises(SessionFileError, match="no fix"):
        log_of(tmp_path, lost)


@given(
    st.text(max_size=120),
    st.sampled_from(["GGA", "RMC", "VTG", "GLL"]),
    st.lists(st.text("0123456789.-ANSWE", max_size=9), max_size=14),
)
def test_no_line_raises(text: str, formatter: str, fields: list[str]) -> None:
    counts: Counter[str] = Counter()
    checked_fields(text, counts)
    fixes = read_fixes([text, sentence(",".join([f"GP{formatter}", *fields]))], counts)
    for fix in fixes:
        assert all(np.isfinite(value) for value in fix.values.values())
