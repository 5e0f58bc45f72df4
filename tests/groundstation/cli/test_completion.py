"""Shell completion knows every command and option."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from groundstation.__main__ import main

COMPLETE = """
COMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))
_shtab_groundstation
echo "${{COMPREPLY[@]}}"
"""


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("words", "expected"),
    [("groundstation rep", "replay"), ("groundstation replay --sp", "--speed")],
)
def test_bash_completes(words: str, expected: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "bash"]) == 0
    script = capsys.readouterr().out
    done = subprocess.run(
        ["bash", "-s"],
        input=script + COMPLETE.format(words=words),
        capture_output=True,
        text=True,
        check=True,
        timeout=20,
    )
    assert expected in done.stdout.split()


@pytest.mark.parametrize("shell", ["zsh", "tcsh"])
def test_other_shells_name_every_command(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(command in script for command in ("live", "replay", "sessions", "doctor"))
