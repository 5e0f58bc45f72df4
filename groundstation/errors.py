"""Everything this program tells its user went wrong: one plain sentence, and what to do.

GroundstationError          a job failed (exit code 1)
+-- SourceError            a source cannot be opened or read
+-- SessionFileError       a session file or a capture cannot be read or written
+-- UsageError             the command or the settings ask for something impossible (exit code 2)
+-- SettingsError     a settings, profile or channel file is wrong
+-- UnknownSourceError  a source is named in a way nobody understands
"""

from __future__ import annotations

import re


class GroundstationError(Exception):
    """A job failed."""

    exit_code = 1

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        """What happened, one plain sentence without a full stop."""
        self.hint = hint
        """What to do, one plain sentence without a full stop; may be empty."""

    def __str__(self) -> str:
        return " ".join(f"{_sentence(part)}." for part in (self.message, self.hint) if part)


def _sentence(text: str) -> str:
    """Return text with a capital, but not where it begins with a name or a path."""
    return text[0].upper() + text[1:] if re.match(r"[a-z]+\s", text) else text


class SourceError(GroundstationError):
    """A source cannot be opened or read.

    Example scenarios:
      - The port does not exist, is busy, or may not be opened by this user
      - A UDP port is already taken
    """


class SessionFileError(GroundstationError):
    """A session file or a capture cannot be read or written.

    Example scenarios:
      - The file is no session, or damaged
      - The folder is read-only or the disk is full
    """


class UsageError(GroundstationError):
    """The command line asks for something impossible.

    Example scenarios:
      - A session name that fits no session, or several
      - A replay speed outside 0.1 to 50
    """

    exit_code = 2


class SettingsError(UsageError):
    """A settings, profile or channel file is wrong.

    Example scenarios:
      - A key nobody knows, named with its line
      - A value of the wrong type or outside its range
    """


class UnknownSourceError(UsageError):
    """A source is named in a way nobody understands.

    Example scenarios:
      - `live sreial:/dev/ttyUSB0`
      - `live tcp://localhost` without a port
    """
