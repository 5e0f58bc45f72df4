"""What the screen says when colours are taken away: nothing may be lost."""

from __future__ import annotations

import pytest
from textual.pilot import Pilot

from groundstation.radio.level import Level
from groundstation.screens.app import LiveApp
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.drawing.level import MARKS
from tests.groundstation.screens.desks import FakeDesk, scenes
from tests.groundstation.screens.showing import play, read, shown_app, strips_of

LEVELS = {"clear": Level.CLEAR, "thin": Level.THIN, "lift": Level.LIFT, "lost": Level.LOST}


@pytest.mark.parametrize(("name", "level"), LEVELS.items())
@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
def test_plain_text_tells_the_level(name: str, level: Level, size: tuple[int, int]) -> None:
    text = read(scenes()[name], size=size)
    assert level in text
    assert MARKS[level] in text
    assert any(all(row in text for row in large(level, scale)) for scale in (1, 2, 3))
    for other in set(Level) - {level}:
        assert not all(row in text for row in large(other, 2))


def test_plain_text_tells_old_figures_from_new_ones() -> None:
    stale, clear = read(scenes()["stale"]), read(scenes()["clear"])
    assert stale.count("3.2 s ago") >= 4
    assert "▒" in stale
    assert " SILENT 3.2 s " in stale
    assert "ago" not in clear
    assert "▒" not in clear


def test_plain_text_tells_a_clipped_shock() -> None:
    text = read(scenes()["clipped"])
    assert "≥ 16 g clipped" in text
    assert all(row in text for row in large("≥16", 1))


def test_plain_text_tells_recording_trouble() -> None:
    text = read(scenes()["trouble"])
    assert text.count("NOT RECORDING") == 2
    assert "the disk is full" in text
    assert "12288 bytes lost" in text


def reversed_cells(desk: FakeDesk) -> list[int]:
    """Return, row by row, how many cells of the screen are in reverse video."""
    counts: list[int] = []

    async def script(pilot: Pilot[Exception]) -> None:
        for strip in strips_of(app):
            reverse = [s for s in strip if s.style is not None and s.style.reverse]
            counts.append(sum(len(segment.text) for segment in reverse))

    app = shown_app(desk)
    play(app, script)
    return counts


@pytest.mark.parametrize("name", ["lift", "lost"])
def test_reverse_video_takes_a_whole_row_and_the_levels_block(name: str) -> None:
    counts = reversed_cells(scenes()[name])
    assert counts[1] == 80
    assert all(count >= 32 for count in counts[2:8])


@pytest.mark.parametrize("name", ["clear", "thin"])
def test_no_reverse_video_where_nothing_is_to_be_done(name: str) -> None:
    assert not any(reversed_cells(scenes()[name])[:12])


def test_no_color_in_the_environment_leaves_no_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app: LiveApp = shown_app(scenes()["lift"])

    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.press("t")
        await pilot.pause()
        segments = [segment for strip in strips_of(app) for segment in strip]
        assert all(s.style is None or s.style.color is None for s in segments)
        assert all(s.style is None or s.style.bgcolor is None for s in segments)
        assert any(s.style and s.style.reverse for s in segments)

    play(app, script)
