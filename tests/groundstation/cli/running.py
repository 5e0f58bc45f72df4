"""Runs the command line in this process."""

from __future__ import annotations

import pytest

from groundstation.__main__ import main


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Return exit code, standard output and standard error."""
    try:
        code = main(argv)
    except SystemExit as stop:
        code = int(stop.code or 0)
    out, err = capsys.readouterr()
    return code, out, err
