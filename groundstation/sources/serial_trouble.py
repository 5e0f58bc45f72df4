"""What can go wrong with a serial port, each in one plain sentence with what to do.

Rule: failures are told apart by class and error number. Only under Windows, where the port
library puts the system's error into the text of its own, is the name of that class looked for.
"""

from __future__ import annotations

import errno
import os
import stat
import sys

from groundstation.errors import SourceError
from groundstation.wording import printable

if sys.platform == "win32":
    PORT_ERRORS: tuple[type[Exception], ...] = (OSError, TypeError, ValueError, OverflowError)
else:
    import termios

    PORT_ERRORS = (OSError, TypeError, ValueError, OverflowError, termios.error)
"""All that a port may raise when it is opened, read or closed at a bad moment."""

_MISSING = {errno.ENOENT, errno.ENODEV, errno.ENXIO}
_BUSY = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_DENIED = {errno.EACCES, errno.EPERM}


def open_trouble(error: Exception, device: str, baud: int) -> SourceError:
    """Return why `device` could not be opened."""
    number = _error_number(error)
    if number in _MISSING or "FileNotFoundError" in str(error):
        return missing(device)
    if number in _BUSY or (os.name == "nt" and "PermissionError" in str(error)):
        return SourceError(
            f"{device} is in use by another program",
            "Close that program; the port is opened as soon as it is free",
        )
    if number in _DENIED:
        return SourceError(f"This user may not open {device}", permission_hint())
    if not _may_be_a_port(device):
        return SourceError(
            f"{device} is not a serial port", "`groundstation sources` lists what is there"
        )
    if isinstance(error, (ValueError, OverflowError)):
        return SourceError(
            f"{device} does not run at {baud} baud", "Give the speed that the receiver is set to"
        )
    return SourceError(
        f"{device} cannot be opened: {_reason(error)}",
        "Pull the adapter out and plug it in again",
    )


def missing(device: str) -> SourceError:
    """Return that `device` is not there."""
    return SourceError(
        f"There is no port {device}",
        "Plug the receiver in; `groundstation sources` lists what is there",
    )


def loss_trouble(error: Exception, device: str, *, is_there: bool) -> SourceError:
    """Return how an open port was lost; `is_there` tells whether the device still exists."""
    if not is_there:
        return SourceError(f"{device} was unplugged", "Plug it in again, in any socket")
    return SourceError(
        f"{device} failed while it was read: {_reason(error)}", "Look at its plug and cable"
    )


def _error_number(error: BaseException) -> int | None:
    """Return the system's error number, from the error that caused this one if need be."""
    cause: BaseException | None = error
    while cause is not None:
        number = getattr(cause, "errno", None)
        if number is None and type(cause).__module__ == "termios" and cause.args:
            number = cause.args[0]
        if isinstance(number, int):
            return number
        cause = cause.__cause__ or cause.__context__
    return None


def _reason(error: Exception) -> str:
    number = _error_number(error)
    return printable(os.strerror(number) if number is not None else str(error)).rstrip(".")


def permission_hint() -> str:
    """Return how a user gets the right to open serial ports, on this system."""
    if sys.platform == "linux":
        return (
            "Join the group that owns serial ports, then log in again: "
            "sudo usermod -a -G dialout $USER"
        )
    return "Run the program as a user who may"


def _may_be_a_port(device: str) -> bool:
    try:
        return os.name == "nt" or stat.S_ISCHR(os.stat(device).st_mode)
    except (OSError, ValueError):
        return True
