"""The bell, and what stands in for an output that is gone."""

from __future__ import annotations

import io

from groundstation.radio.level import Level
from groundstation.sound.outputs import Beat, BellOutput, bell_of

BEAT = Beat(level=Level.THIN, sounding_s=0.1, stop_margin_db=8.0)


def test_bell_rings_once_a_beat() -> None:
    stream = io.StringIO()
    bell = BellOutput(bell_of(stream))
    bell.prepare()
    assert bell.sound(BEAT)
    assert bell.sound(BEAT)
    bell.close()
    assert stream.getvalue() == "\a\a"
    assert bell.trouble == ""


def test_a_terminal_that_is_gone_costs_a_sentence_only() -> None:
    stream = io.StringIO()
    stream.close()
    bell = BellOutput(bell_of(stream))
    assert not bell.sound(BEAT)
    assert bell.trouble.startswith("the terminal's bell cannot be rung: ")
