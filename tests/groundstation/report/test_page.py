"""The report as one page that needs no network."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256

import numpy as np
import pytest

from groundstation.analysis.record import Columns
from groundstation.analysis.session import analyse
from groundstation.report.page import page
from groundstation.report.words import CAUTION, Telling
from groundstation.units import SpeedUnit
from tests.groundstation.analysis.driven import without
from tests.groundstation.report.tellings import HOSTILE, STEERING, hostile_telling, telling_of
from tests.replay_data import NAMES


def headings(text: str) -> list[str]:
    return re.findall(r"<h2>(.*?)</h2>", text)


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_session_has_a_page(name: str) -> None:
    text = page(telling_of(name))
    assert text.startswith("<!DOCTYPE html>")
    assert len(text) < 2_000_000
    assert "nan" not in re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL).lower().split()
    assert "None" not in re.sub(r"<(script|style).*?</\1>|<!--.*?-->", "", text, flags=re.DOTALL)


def test_after_a_crash_what_came_first_comes_first() -> None:
    text = page(telling_of("crash"))
    assert headings(text)[:2] == ["What came first?", "How fast, really"]
    assert "Ended badly: " in text
    assert "First the yaw" in text
    assert "geo:0.04" in text


def test_else_the_speed_comes_first() -> None:
    text = page(telling_of("opposite_passes"))
    assert headings(text)[:2] == ["How fast, really", "Was anything wrong?"]
    assert "Ended badly" not in text
    assert "Mean of two directions" in text


def test_speeds_are_shown_in_the_unit_that_was_asked_for() -> None:
    telling = telling_of("opposite_passes")
    assert "161." in page(telling)
    mph = page(replace(telling, unit=SpeedUnit.MPH))
    assert "100." in mph
    assert "km/h" not in re.sub(r"<(script|style).*?</\1>", "", mph, flags=re.DOTALL)


def test_the_steering_schedule_is_there_when_it_was_asked_for() -> None:
    assert "Steering schedule" not in page(telling_of("opposite_passes"))
    text = page(telling_of("opposite_passes", STEERING))
    assert "Steering schedule" in text
    assert "-20 to 20 m, km/h" in text


def test_the_foot_has_the_cautions() -> None:
    text = page(telling_of("opposite_passes"))
    for sentence in CAUTION:
        assert sentence.replace("'", "&#x27;") in text


def test_nothing_from_outside_is_markup() -> None:
    text = page(hostile_telling())
    assert "<script>window" not in text
    assert "\x1b" not in text
    assert "&lt;script&gt;window.harmed" in text
    assert HOSTILE not in text
    # Ours and the data, and nothing else.
    assert len(re.findall(r"<script[\s>]", text)) == 3


def test_the_page_may_ask_for_nothing() -> None:
    text = page(telling_of("crash"))
    policy = re.search(r'http-equiv="Content-Security-Policy" content="(.*?)"', text)
    assert policy is not None
    said = policy[1].replace("&#x27;", "'")
    assert "default-src 'none'" in said
    assert "unsafe" not in said
    own = re.findall(r"<(?:script|style)>(.*?)</(?:script|style)>", text, flags=re.DOTALL)
    assert len(own) == 4
    for part in own:
        print_ = b64encode(sha256(part.encode()).digest()).decode()
        assert f"'sha256-{print_}'" in said
    assert not re.findall(r'(?:src|href)="(?!geo:)', text)
    assert "style=" not in re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)


def test_what_a_recording_lacks_is_said_in_one_line() -> None:
    telling = telling_of("opposite_passes")
    record = telling.analysis.record
    motion = record.motion
    bare = type(motion)(motion.t_s, {"speed_mps": motion["speed_mps"]})
    changed = replace(record, kinds={**record.kinds, "motion": bare})
    text = page(
        Telling(analyse(without(without(changed, "fix"), "radio")), telling.sheet, telling.unit)
    )
    assert "Left out: no yaw rate in this recording." in text
    assert "Left out: no vertical acceleration in this recording." in text
    assert "Left out: no control link report in this recording." in text
    assert "since the pass began" in text


def test_fixes_alone_have_a_page() -> None:
    telling = telling_of("opposite_passes")
    bare = analyse(without(without(without(telling.analysis.record, "motion"), "radio"), "power"))
    text = page(Telling(bare, telling.sheet, telling.unit))
    assert "Mean of two directions" in text
    assert "Left out: no yaw rate in this recording." in text
    assert 'id="speed-plot"' in text
    assert 'id="strip-speed-plot"' in text


def test_a_builders_own_channels_are_shown_like_the_rest() -> None:
    telling = telling_of("crash")
    record = telling.analysis.record
    own = Columns(np.arange(49.0, 56.0), {"tyre_temperature_c": np.arange(7.0)})
    changed = replace(record, kinds={**record.kinds, "tyres": own})
    text = page(replace(telling, analysis=replace(telling.analysis, record=changed)))
    assert "Tyre temperature c" in text


def test_a_recording_without_a_pass_has_a_page() -> None:
    telling = telling_of("opposite_passes")
    record = telling.analysis.record
    motion = record.motion
    still = type(motion)(motion.t_s, {**motion.values, "speed_mps": np.zeros(len(motion))})
    analysis = analyse(replace(record, kinds={**record.kinds, "motion": still}))
    text = page(Telling(analysis, telling.sheet, telling.unit))
    assert text.count("Left out: no pass was found in this recording.") == 5


def test_the_plot_library_is_the_one_that_was_looked_at() -> None:
    # uPlot 1.6.32 as published: a changed file is to be looked at before it goes into reports.
    text = page(telling_of("crash"))
    script = re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL)[0]
    assert sha256(script.encode()).hexdigest() == (
        "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f"
    )
