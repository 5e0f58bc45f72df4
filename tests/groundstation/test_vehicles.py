"""Vehicle files: read, checked, and over the settings."""

from __future__ import annotations

from pathlib import Path

import pytest

from groundstation.cli.options import choose
from groundstation.cli.parser import parse
from groundstation.errors import SettingsError
from groundstation.radio.watch_setting import TwoPoints
from groundstation.settings import settings_path
from groundstation.units import SpeedUnit
from groundstation.vehicles import load_vehicle, vehicle_names, vehicles_folder

WHOLE = """
source = "ble:sandpiper"
baud = 57600
number = 4
units = "mph"
[link]
threshold_dbm = -97
required_margin_db = 12
[receiver]
percent_dbm = [[100, -85], [50, -98]]
[stopping]
react_s = 0.4
decel_mps2 = 7.5
decel_from_mps = 40
drag_per_m = 0.0015
"""


@pytest.fixture
def folder() -> Path:
    folder = vehicles_folder()
    folder.mkdir(parents=True)
    return folder


def test_vehicle_files_lie_beside_the_settings() -> None:
    assert vehicles_folder() == settings_path().parent / "vehicles"
    assert vehicle_names(vehicles_folder()) == []
    assert load_vehicle("sandpiper", vehicles_folder()) is None


def test_a_vehicle_is_watched_as_its_file_says(folder: Path) -> None:
    (folder / "sandpiper.toml").write_text(WHOLE)
    settings_path().write_text('units = "m/s"\n[link]\nlift_margin_db = 5\nthreshold_dbm = -90\n')
    assert vehicle_names(folder) == ["sandpiper"]
    vehicle = load_vehicle("sandpiper", folder)
    assert vehicle is not None
    choices = choose(parse(["live", "sandpiper"]), vehicle)
    profile = choices.profile
    assert (choices.unit, choices.baud, profile.number) == (SpeedUnit.MPH, 57600, 4)
    assert profile.threshold_dbm == -97.0
    # What the file does not say, the settings say; what neither says has a default.
    assert profile.limits.required_margin_db == 12.0
    assert profile.limits.lift_margin_db == 5.0
    assert profile.limits.failsafe_s == 1.0
    assert (profile.braking.react_s, profile.braking.decel_mps2) == (0.4, 7.5)
    assert (profile.braking.decel_from_mps, profile.braking.drag_per_m) == (40.0, 0.0015)
    assert profile.percent_map == TwoPoints(low=50, low_dbm=-98, high=100, high_dbm=-85)
    assert profile.raw_map is None


def test_options_come_before_the_file(folder: Path) -> None:
    (folder / "sandpiper.toml").write_text(WHOLE)
    vehicle = load_vehicle("sandpiper", folder)
    argv = ["live", "sandpiper", "--threshold", "-91", "--vehicle-number", "0", "--baud", "9600"]
    choices = choose(parse([*argv, "--units", "km/h"]), vehicle)
    assert choices.profile.threshold_dbm == -91.0
    assert (choices.profile.number, choices.baud, choices.unit) == (0, 9600, SpeedUnit.KMH)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("colour = 1", "line 1: colour: nobody knows this key"),
        ("[stopping]\nreact_s = 9", "line 2: stopping.react_s"),
        ("[receiver]\npercent_dbm = [[1, 2]]", "line 2: receiver.percent_dbm"),
        ("number = 300", "line 1: number"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(text: str, said: str, folder: Path) -> None:
    (folder / "sandpiper.toml").write_text(text)
    with pytest.raises(SettingsError) as caught:
        load_vehicle("sandpiper", folder)
    assert said in caught.value.message


def test_a_map_needs_two_different_points(folder: Path) -> None:
    (folder / "sandpiper.toml").write_text("[receiver]\nnumber_dbm = [[7, -90], [7, -80]]")
    vehicle = load_vehicle("sandpiper", folder)
    with pytest.raises(SettingsError, match="both at 7"):
        choose(parse(["live", "sandpiper"]), vehicle)
