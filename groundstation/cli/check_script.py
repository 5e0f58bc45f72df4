"""A range check that leads itself: a TOML file of what to say, and when.

    [[say]]
    at_s = 9.0          # seconds of the session, which begins with the first bytes
    what = "off"        # words as in `check_words`

    [[say]]
    after_s = 3.0       # or: seconds after the entry before
    what = "on"

Times are on the session clock, so the same source and script give the same check.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec

from groundstation.cli.check_words import VOCABULARY, understands
from groundstation.errors import SettingsError
from groundstation.settings import parse_toml, read_text

_Seconds = Annotated[float, msgspec.Meta(ge=0, le=86_400)]


class SayEntry(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """One `[[say]]`."""

    what: str
    at_s: _Seconds | None = None
    after_s: _Seconds | None = None


class ScriptFile(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """The whole file."""

    say: list[SayEntry]


@dataclass(frozen=True, slots=True)
class Saying:
    """Words and their time."""

    at_s: float
    words: str


def read_script(path: Path) -> tuple[Saying, ...]:
    """Return what a script says, in order of time.

    Raises:
        SettingsError: It cannot be read, or says something impossible.
    """
    return parse_script(read_text(path, "script"), str(path))


def parse_script(text: str, origin: str) -> tuple[Saying, ...]:
    """Return what the script in TOML text says; `origin` is what errors call it.

    Raises:
        SettingsError: The text is no TOML, or says something impossible.
    """
    sayings: list[Saying] = []
    before_s = 0.0
    for number, entry in enumerate(parse_toml(text, origin, ScriptFile).say, start=1):
        if (entry.at_s is None) == (entry.after_s is None):
            raise SettingsError(f"{origin}: say {number}: give at_s or after_s, one of them")
        if not understands(entry.what):
            raise SettingsError(
                f"{origin}: say {number}: nobody understands {entry.what!r}",
                f"say one of: {VOCABULARY}",
            )
        at_s = entry.at_s if entry.at_s is not None else before_s + (entry.after_s or 0.0)
        if at_s < before_s:
            raise SettingsError(f"{origin}: say {number}: {at_s:g} s is before the entry above it")
        before_s = at_s
        sayings.append(Saying(at_s, entry.what))
    return tuple(sayings)
