"""Makes `replay_data/` again: the scenarios as recorded sessions, and the picture of one.

    python -m tests.replay_data

Everything in it is simulated and invented. A test compares the files with what this module makes.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path

from groundstation.cli.options import Choices
from groundstation.cli.simulating import record_session, simulated_inbound
from groundstation.clock import MonotonicClock
from groundstation.inbound import Inbound
from groundstation.player import Player
from groundstation.recording.names import SUFFIX
from groundstation.recording.reader import open_session
from groundstation.settings import Settings
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.units import SpeedUnit
from groundstation.vehicle.profile import VehicleProfile
from protocol import standard_table

FOLDER = Path(__file__).parent.parent / "replay_data"
SEED = 7
NAMES = [name for name in SCENARIOS if name != "demo" and not name.startswith("range_check")]
"""A range check takes minutes: it is made when it is wanted."""

PICTURE = FOLDER / "live.svg"
PICTURED_SESSION, PICTURED_AT_S = "range_edge", 8.6

CHOICES = Choices(
    settings=Settings(),
    sessions=FOLDER,
    unit=SpeedUnit.KMH,
    theme="dark",
    baud=115_200,
    channels_text="",
    table=standard_table(),
    profile=VehicleProfile(),
)


def made_inbound(name: str) -> Iterator[Inbound]:
    """Yield what the session of a scenario holds."""
    return simulated_inbound(name, SEED, None)


def player_of(path: Path) -> Player:
    """Return a replay of a session."""
    return Player(
        open_session(path),
        title=path.name,
        clock=MonotonicClock(),
        profile=CHOICES.profile,
        table=CHOICES.table,
        keeper=CHOICES.keeper,
    )


async def picture() -> str:
    """Return the live screen at a moment of a session, as SVG."""
    from groundstation.screens.app import LiveApp

    player = player_of(FOLDER / f"{PICTURED_SESSION}{SUFFIX}")
    player.pause(True)
    player.seek(PICTURED_AT_S)
    app = LiveApp(player, speed_unit=CHOICES.unit, theme=CHOICES.theme)
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause()
        svg = app.export_screenshot(title="groundstation (simulated car)")
    # A picture in a page loads no fonts: ask for one that is there.
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.DOTALL)
    return re.sub(r"Fira Code,? ?", "DejaVu Sans Mono, Menlo, Consolas, ", svg)


def main() -> None:
    """Write all files."""
    for name in NAMES:
        out = FOLDER / f"{name}{SUFFIX}"
        source = f"simulated:{name}?seed={SEED}"
        seconds = SCENARIOS[name].duration_s
        record_session(made_inbound(name), CHOICES, out, source=source, end_at_s=seconds)
        print(f"{out.name:<28}{seconds:6.1f} s{out.stat().st_size / 1000:8.0f} kB")
    PICTURE.write_text(asyncio.run(picture()), encoding="utf-8")


if __name__ == "__main__":
    main()
