from __future__ import annotations

import errno
import os
import termios

import pytest
import serial

from groundstation.sources.serial_trouble import loss_trouble, open_trouble

DEVICE = "/dev/ttyUSB-invented"


def raised_within(inner: Exception) -> serial.SerialException:
    """Return an error of the port library that hides the system's, as it does."""
    try:
        try:
            raise inner
        except Exception:
            raise serial.SerialException(f"read failed: {inner}")  # noqa: B904
    except serial.SerialException as error:
        return error


def system_error(number: int) -> serial.SerialException:
    return serial.SerialException(number, f"could not open port: {os.strerror(number)}")


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (system_error(errno.ENOENT), f"There is no port {DEVICE}"),
        (system_error(errno.ENODEV), f"There is no port {DEVICE}"),
        (system_error(errno.ENXIO), f"There is no port {DEVICE}"),
        (system_error(errno.EAGAIN), f"{DEVICE} is in use by another program"),
        (system_error(errno.EBUSY), f"{DEVICE} is in use by another program"),
        (system_error(errno.EACCES), f"This user may not open {DEVICE}"),
        (system_error(errno.EPERM), f"This user may not open {DEVICE}"),
        (system_error(errno.EIO), f"{DEVICE} cannot be opened: Input/output error"),
        (termios.error(errno.EIO, "x"), f"{DEVICE} cannot be opened: Input/output error"),
        (
            raised_within(termios.error(errno.EIO, "x")),
            f"{DEVICE} cannot be opened: Input/output error",
        ),
        (ValueError("Invalid baud rate"), f"{DEVICE} does not run at 115200 baud"),
        (OverflowError("too large"), f"{DEVICE} does not run at 115200 baud"),
        (serial.SerialException("odd\x1b[2J."), f"{DEVICE} cannot be opened: odd\ufffd[2J"),
        # As pyserial's own text has it under Windows (serialwin32.py: open).
        (
            serial.SerialException(
                "could not open port 'COM3': FileNotFoundError(2, 'invented', None, 2)"
            ),
            f"There is no port {DEVICE}",
        ),
    ],
)
def test_why_it_could_not_be_opened(error: Exception, sentence: str) -> None:
    trouble = open_trouble(error, DEVICE, 115200)
    assert trouble.message == sentence
    assert trouble.hint


def test_access_denied_means_busy_under_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    error = serial.SerialException(
        "could not open port 'COM3': PermissionError(13, 'invented', None, 5)"
    )
    assert open_trouble(error, "COM3", 115200).message.startswith("COM3 cannot be opened")
    monkeypatch.setattr(os, "name", "nt")
    assert open_trouble(error, "COM3", 115200).message == "COM3 is in use by another program"


@pytest.mark.parametrize(
    ("error", "is_there", "sentence"),
    [
        (OSError(errno.EIO, "x"), False, f"{DEVICE} was unplugged"),
        (
            OSError(errno.EIO, "x"),
            True,
            f"{DEVICE} failed while it was read: Input/output error",
        ),
        (
            raised_within(OSError(errno.EIO, "x")),
            True,
            f"{DEVICE} failed while it was read: Input/output error",
        ),
        (TypeError("an integer is required"), True, f"{DEVICE} failed while it was read: an"),
    ],
)
def test_how_it_was_lost(error: Exception, is_there: bool, sentence: str) -> None:
    trouble = loss_trouble(error, DEVICE, is_there=is_there)
    assert trouble.message.startswith(sentence)
    assert trouble.hint
