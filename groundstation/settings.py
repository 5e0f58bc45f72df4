"""The user's settings: one TOML file in the platform's config folder, every key optional.

Owns reading and checking. A wrong key or value is named with its line; nothing is guessed.
"""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal, TypeVar

import msgspec
import platformdirs

from groundstation.errors import SettingsError
from groundstation.radio.level import Level, Limits
from groundstation.units import SpeedUnit

SETTINGS_VARIABLE = "GROUNDSTATION_SETTINGS"
SESSIONS_VARIABLE = "GROUNDSTATION_SESSIONS"

T = TypeVar("T")

_Decibels = Annotated[float, msgspec.Meta(ge=0, le=60)]
_Seconds = Annotated[float, msgspec.Meta(gt=0, le=60)]


class LinkSettings(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[link]`: when the control link is called what. A key that is not there is left to others."""

    threshold_dbm: Annotated[float, msgspec.Meta(ge=-200, le=0)] | None = None
    """Level at which the control receiver stops working; without it the car's ident frame tells."""
    required_margin_db: _Decibels | None = None
    """A margin under this is THIN; 10 dB unless said."""
    lift_margin_db: _Decibels | None = None
    """A margin now under this is LIFT, where no forecast can be made; 3 dB unless said."""
    lift_stop_margin_db: Annotated[float, msgspec.Meta(ge=-20, le=60)] | None = None
    """A stop margin under this is LIFT; -2.5 dB unless said."""
    lift_silence_s: _Seconds | None = None
    """Telemetry silent for this long is LIFT; 0.5 s unless said."""
    failsafe_s: _Seconds | None = None
    """Telemetry silent for this long is LOST; 1 s unless said."""

    def over(self, other: LinkSettings) -> LinkSettings:
        """Return these settings, with those of `other` where nothing is said here."""
        said = {name: getattr(self, name) for name in self.__struct_fields__}
        return msgspec.structs.replace(
            other, **{name: value for name, value in said.items() if value is not None}
        )

    @property
    def limits(self) -> Limits:
        """The thresholds that these settings come to."""
        said = {name: getattr(self, name) for name in self.__struct_fields__}
        del said["threshold_dbm"]
        return Limits(**{name: value for name, value in said.items() if value is not None})


class SoundSettings(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[sound]`: what is heard, and what is run at a change of level."""

    quiet: bool = False
    """Nothing is heard and nothing is run."""
    tones: bool = True
    """Tones where the extra `sound` is installed; false leaves the terminal's bell."""
    on_clear: str | None = None
    on_thin: str | None = None
    on_lift: str | None = None
    on_lost: str | None = None
    """Commands of the user's own, run without a shell."""

    @property
    def commands(self) -> dict[Level, str]:
        """The commands by level."""
        asked = (self.on_clear, self.on_thin, self.on_lift, self.on_lost)
        return {level: text for level, text in zip(Level, asked, strict=True) if text}


class Settings(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """The whole file."""

    units: SpeedUnit = SpeedUnit.KMH
    """Speed on the screen: "km/h", "mph" or "m/s"."""
    theme: Literal["dark", "sunlight"] = "dark"
    """Colours of the screen."""
    sessions: str | None = None
    """Folder of the recorded sessions; without it the platform's data folder."""
    channels: str | None = None
    """TOML file with a builder's own frame kinds."""
    baud: Annotated[int, msgspec.Meta(ge=300, le=4_000_000)] = 115_200
    """Speed of serial ports."""
    link: LinkSettings = LinkSettings()
    sound: SoundSettings = SoundSettings()


def settings_path() -> Path:
    """Return where the settings are looked for, whether there or not."""
    given = os.environ.get(SETTINGS_VARIABLE)
    if given:
        return Path(given)
    return Path(platformdirs.user_config_dir("groundstation")) / "settings.toml"


def load_settings(path: Path | None = None) -> Settings:
    """Return the settings of a file; the defaults where no file is named and none is there.

    Raises:
        SettingsError: The file cannot be read, or says something impossible.
    """
    asked_for = path is not None or SETTINGS_VARIABLE in os.environ
    path = path or settings_path()
    if not path.exists():
        if asked_for:
            raise SettingsError(f"there is no settings file {path}")
        return Settings()
    return parse_settings(read_text(path, "settings file"), str(path))


def parse_settings(text: str, origin: str) -> Settings:
    """Return the settings in TOML text; `origin` is what errors call it.

    Raises:
        SettingsError: The text is no TOML, or has a wrong key or value, named with its line.
    """
    return parse_toml(text, origin, Settings)


def parse_toml(text: str, origin: str, shape: type[T]) -> T:
    """Return TOML text as a `shape`.

    Raises:
        SettingsError: The text is no TOML, or has a wrong key or value, named with its line.
    """
    try:
        return msgspec.convert(tomllib.loads(text), shape)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{origin}: not TOML: {error}") from error
    except msgspec.ValidationError as error:
        said = str(error)
        unknown = re.search(r"unknown field `([^`]+)`", said)
        where = re.search(r"at `\$\.([^`[]+)", said)
        path = [
            *(where.group(1).split(".") if where else []),
            *([unknown.group(1)] if unknown else []),
        ]
        reason = "nobody knows this key" if unknown else re.sub(r" - at `.*", "", said)
        place = f", line {_line_of(text, path)}" if path else ""
        raise SettingsError(f"{origin}{place}: {'.'.join(path)}: {reason}") from error


def read_text(path: Path, what: str) -> str:
    """Return a file's text.

    Raises:
        SettingsError: It cannot be read; `what` is what the message calls it.
    """
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise SettingsError(f"cannot read the {what} {path}: {reason}") from error


def sessions_folder(settings: Settings, asked: Path | None = None) -> Path:
    """Return the sessions' folder: by option, environment, settings, or the platform's own."""
    if asked is not None:
        return asked
    named = os.environ.get(SESSIONS_VARIABLE) or settings.sessions
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_data_dir("groundstation")) / "sessions"


def _line_of(text: str, path: list[str]) -> int:
    """Return the line, counted from 1, where the last key of `path` is set in its section."""
    section = path[:-1]
    now: list[str] = []
    for count, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            now = stripped.strip("[] ").split(".")
            if now == path:
                return count
        elif now == section and re.match(rf'"?{re.escape(path[-1])}"?\s*=', stripped):
            return count
    return 1
