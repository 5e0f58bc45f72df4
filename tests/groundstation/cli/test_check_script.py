"""Words and scripts of a check."""

from __future__ import annotations

import pytest

from groundstation.cli.check_script import Saying, parse_script
from groundstation.cli.check_words import VOCABULARY, obey, understands
from groundstation.errors import SettingsError
from groundstation.rangecheck.check import RangeCheck
from groundstation.rangecheck.view import Step


def test_a_script_is_read_with_both_kinds_of_time() -> None:
    text = """
    [[say]]
    at_s = 2.5
    what = "off"
    [[say]]
    after_s = 1.5
    what = "mark 25"
    """
    assert parse_script(text, "x") == (Saying(2.5, "off"), Saying(4.0, "mark 25"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("say = 1", "say"),
        ("[[say]]\nwhat = 'off'", "at_s or after_s"),
        ("[[say]]\nwhat = 'off'\nat_s = 1\nafter_s = 1", "at_s or after_s"),
        ("[[say]]\nwhat = 'jump'\nat_s = 1", "nobody understands 'jump'"),
        ("[[say]]\nwhat = 'off'\nat_s = 5\n[[say]]\nwhat = 'on'\nat_s = 4", "before"),
        ("[[say]]\nwhat = 'off'\nat_s = -1", "say"),
        ("[[say]]\nwhat = 'off'\nwhen = 1", "when"),
        ("[[say", "not TOML"),
    ],
)
def test_what_is_wrong_with_a_script_is_said(text: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        parse_script(text, "x")


@pytest.mark.parametrize(
    ("words", "step"),
    [
        ("walk", Step.WALK),
        ("Failsafe", Step.FAILSAFE),
        ("sensors", Step.SENSORS),
        ("verdict", Step.VERDICT),
        ("next", Step.FAILSAFE),
        ("repeat walk", Step.WALK),
        ("mark 25", Step.WALK),
        ("mark 12.5m", Step.WALK),
    ],
)
def test_words_go_where_they_say(words: str, step: Step) -> None:
    check = RangeCheck()
    assert understands(words)
    assert obey(check, words)
    assert check.step is step


@pytest.mark.parametrize("words", ["off", "on", "heading", "mark"])
def test_a_wrong_moment_is_answered_and_changes_nothing(words: str) -> None:
    check = RangeCheck()
    assert obey(check, words)
    assert check.step is Step.SENSORS


@pytest.mark.parametrize(
    "words", ["", "mark nan", "mark -4", "mark 0", "repeat", "repeat verdict", "jump", "off off"]
)
def test_what_nobody_understands_is_answered_with_what_is(words: str) -> None:
    check = RangeCheck()
    assert not understands(words)
    assert VOCABULARY in obey(check, words)
    assert check.step is Step.SENSORS
