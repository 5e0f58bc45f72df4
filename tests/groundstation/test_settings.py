"""The settings file: read, checked, and wrong with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from groundstation.errors import SettingsError
from groundstation.settings import (
    SESSIONS_VARIABLE,
    SETTINGS_VARIABLE,
    Settings,
    load_settings,
    parse_settings,
    sessions_folder,
    settings_path,
)
from groundstation.units import SpeedUnit


def test_no_file_gives_the_defaults() -> None:
    assert load_settings() == Settings()


def test_every_key_is_read() -> None:
    settings = parse_settings(
        'units = "mph"\ntheme = "sunlight"\nsessions = "/x"\nchannels = "/y"\nbaud = 57600\n'
        "[link]\nthreshold_dbm = -97\nrequired_margin_db = 12\nlift_margin_db = 4\n"
        "lift_silence_s = 0.4\nfailsafe_s = 0.8\n",
        "settings.toml",
    )
    assert (settings.units, settings.theme, settings.baud) == (SpeedUnit.MPH, "sunlight", 57600)
    assert (settings.sessions, settings.channels) == ("/x", "/y")
    assert settings.link.threshold_dbm == -97.0
    assert settings.link.lift_silence_s == 0.4


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('them = "dark"', "s.toml, line 1: them: nobody knows this key"),
        ('\n# colours\ntheme = "drak"', "s.toml, line 3: theme: Invalid enum value 'drak'"),
        ("[link]\n\nfoo = 1", "s.toml, line 3: link.foo: nobody knows this key"),
        (
            "baud = 9600\n[link]\nlift_margin_db = -3",
            "s.toml, line 3: link.lift_margin_db: Expected `float` >= 0.0",
        ),
        ('baud = "fast"', "s.toml, line 1: baud: Expected `int`, got `str`"),
        ("theme = ", "s.toml: not TOML"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_its_line(text: str, said: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_settings(text, "s.toml")
    assert caught.value.message.startswith(said)
    assert caught.value.exit_code == 2


def test_a_file_that_was_asked_for_must_be_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(SettingsError, match="There is no settings file"):
        load_settings(tmp_path / "none.toml")
    monkeypatch.setenv(SETTINGS_VARIABLE, str(tmp_path / "none.toml"))
    assert settings_path() == tmp_path / "none.toml"
    with pytest.raises(SettingsError, match="There is no settings file"):
        load_settings()


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="not UTF-8"):
        load_settings(path)


def test_where_sessions_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = Settings(sessions="~/runs")
    assert sessions_folder(settings, tmp_path) == tmp_path
    assert sessions_folder(settings) == Path.home() / "runs"
    assert sessions_folder(Settings()).name == "sessions"
    monkeypatch.setenv(SESSIONS_VARIABLE, "/elsewhere")
    assert sessions_folder(settings) == Path("/elsewhere")
