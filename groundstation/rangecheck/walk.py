"""Step 3: the walk from mark to mark, a hold at each of the headings.

Owns the order settle - hold - turn, the heading of each hold and which mark it belongs to. Rules: a
hold counts only if the car stood still through all of it; a mark of the same distance begins that
mark anew, and the same heading once more replaces its hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from groundstation.rangecheck.levels import HoldAverage, LevelReading
from groundstation.rangecheck.record import Hold
from groundstation.rangecheck.setting import HEADING_WORDS, HEADINGS_DEG, WalkSetting
from groundstation.rangecheck.stillness import Stillness
from groundstation.rangecheck.view import WalkView
from protocol import Value

SETTLE_S = 0.7
"""Still for so long before a hold begins: hands off, and the receiver's averaging is over."""
TURNED_DEG = 50.0
"""From here on a turn is a quarter turn."""
CARRIED_S = 2.0
"""In motion for so long is carried, not turned (common practice, no source)."""
TOLD_S = 1.5
"""A hold that is shorter when the car moves was only a pause of the hands."""
SAME_MARK = 0.02
"""Marks that differ by less than this share are one."""


class Phase(StrEnum):
    """What the walk waits for."""

    BETWEEN = "between"
    """The next mark."""
    SETTLING = "settling"
    HOLDING = "holding"
    TURNING = "turning"
    """The next heading."""


@dataclass(slots=True)
class Mark:
    """One place of the walk."""

    distance_m: float
    by_fix: bool


@dataclass(slots=True)
class Walk:
    """One walk."""

    setting: WalkSetting
    reading: LevelReading
    phase: Phase = Phase.BETWEEN
    marks: list[Mark] = field(default_factory=list)
    mark: int | None = None
    heading_deg: int = 0
    counts_turn: bool = False
    """Whether a turn while settling changes the heading."""
    holds: dict[tuple[int, int], Hold] = field(default_factory=dict)
    """By mark and heading."""
    average: HoldAverage | None = None
    held_from_s: float | None = None
    now_s: float = 0.0
    fixes_m: list[float] = field(default_factory=list)
    """Distances by fix during the hold."""
    driver_placed: bool = False
    """Whether fixes tell the distance from the driver."""
    told: list[str] = field(default_factory=list)
    """What happened, to be told; the caller empties it."""

    @property
    def headings(self) -> tuple[int, ...]:
        """The headings that are asked for."""
        return HEADINGS_DEG[: self.setting.headings]

    @property
    def wanted(self) -> int:
        """Holds that a whole walk has, as far as it is planned."""
        marks = max(len(self.setting.marks_m), 3, len(self.marks))
        return marks * len(self.headings)

    @property
    def planned_done(self) -> bool:
        """Whether every planned mark was held at every heading."""
        planned = len(self.setting.marks_m)
        return 0 < planned <= len(self.marks) and all(
            (mark, heading) in self.holds for mark in range(planned) for heading in self.headings
        )

    @property
    def held_s(self) -> float:
        """Of the hold that runs."""
        return 0.0 if self.held_from_s is None else self.now_s - self.held_from_s

    def ordered(self) -> tuple[Hold, ...]:
        """Return the holds by mark and heading, with the distances of their marks as known now."""
        return tuple(
            replace(self.holds[key], distance_m=self.marks[key[0]].distance_m)
            for key in sorted(self.holds)
        )

    def view(self, stillness: Stillness) -> WalkView:
        """Return the walk as it stands."""
        level_dbm: float | None = None
        if self.average is not None:
            level_dbm = self.average.level_dbm
        elif self.mark is not None and (self.mark, self.heading_deg) in self.holds:
            level_dbm = self.holds[self.mark, self.heading_deg].level_dbm
        return WalkView(
            mark=self.mark,
            distance_m=None if self.mark is None else self.marks[self.mark].distance_m,
            heading_deg=None if self.mark is None else self.heading_deg,
            held_s=self.held_s,
            hold_s=self.setting.hold_s,
            turned_deg=stillness.turned_deg,
            level_dbm=level_dbm,
            holds=self.ordered(),
        )

    def start_mark(self, distance_m: float, *, by_fix: bool, stillness: Stillness) -> None:
        """Begin at a mark; its hold begins once the car is still."""
        same = [
            index
            for index, mark in enumerate(self.marks)
            if abs(mark.distance_m - distance_m) <= SAME_MARK * distance_m
        ]
        if same:
            self.mark = same[0]
            for heading in HEADINGS_DEG:
                self.holds.pop((self.mark, heading), None)
        else:
            self.marks.append(Mark(distance_m, by_fix))
            self.mark = len(self.marks) - 1
        self.heading_deg = 0
        self._settle(stillness, counts_turn=False)

    def next_heading(self, stillness: Stillness) -> str:
        """Take the person's word for a turn; return what comes of it."""
        if self.mark is None or self.phase is Phase.BETWEEN:
            return "tell the mark first"
        if self.phase is not Phase.TURNING:
            return "keep the car still: this hold is not over"
        quarters = round(stillness.turned_deg / 90.0)
        turned = abs(stillness.turned_deg) >= TURNED_DEG and quarters % 4 != 0
        self.heading_deg = (self.heading_deg + 90 * (quarters if turned else 1)) % 360
        self._settle(stillness, counts_turn=False)
        return f"{HEADING_WORDS[self.heading_deg]}: keep the car still"

    def take_motion(self, stillness: Stillness, at_s: float) -> None:
        """Take note that the stillness has moved on."""
        self.now_s = at_s
        settled = stillness.still_s >= SETTLE_S
        match self.phase:
            case Phase.BETWEEN:
                carried = stillness.moving_s >= CARRIED_S
                unwalked = self.setting.marks_m[len(self.marks) :]
                if unwalked and carried and settled:
                    self.start_mark(unwalked[0], by_fix=False, stillness=stillness)
                    self._hold(at_s)
            case Phase.SETTLING:
                if settled:
                    if self.counts_turn and abs(stillness.turned_deg) >= TURNED_DEG:
                        self._turn(stillness)
                    self._hold(at_s)
            case Phase.HOLDING:
                if stillness.moving:
                    if self.held_s > TOLD_S:
                        self.told.append("the car moved: the hold begins anew")
                    self.average = self.held_from_s = None
                    # Before the first hold of a mark it is only being put down.
                    begun = any(mark == self.mark for mark, _ in self.holds)
                    self.phase, self.counts_turn = Phase.SETTLING, begun
                elif self.held_s >= self.setting.hold_s:
                    self._keep(stillness)
            case Phase.TURNING:
                if settled and abs(stillness.turned_deg) >= TURNED_DEG:
                    self._turn(stillness)
                    self._hold(at_s)
        if self.phase is Phase.HOLDING and self.held_from_s == at_s:
            stillness.begin()

    def take_radio(self, values: Mapping[str, Value]) -> None:
        """Take note of a radio report; it counts while a hold runs."""
        if self.average is not None:
            self.average.take(values)

    def take_fix(self, distance_m: float | None) -> None:
        """Take note of the distance that a fix gives; it counts while a hold runs."""
        if distance_m is not None and self.average is not None:
            self.fixes_m.append(distance_m)

    def _settle(self, stillness: Stillness, *, counts_turn: bool) -> None:
        self.phase, self.counts_turn = Phase.SETTLING, counts_turn
        self.average = self.held_from_s = None
        stillness.begin()

    def _hold(self, at_s: float) -> None:
        self.phase = Phase.HOLDING
        self.average, self.held_from_s = HoldAverage(self.reading), at_s
        self.fixes_m.clear()

    def _turn(self, stillness: Stillness) -> None:
        quarters = round(stillness.turned_deg / 90.0)
        self.heading_deg = (self.heading_deg + 90 * quarters) % 360

    def _keep(self, stillness: Stillness) -> None:
        assert self.average is not None
        assert self.mark is not None
        mark = self.marks[self.mark]
        if mark.by_fix and self.fixes_m:
            self._refine(mark)
        hold = self.average.hold(
            mark=self.mark,
            distance_m=mark.distance_m,
            heading_deg=self.heading_deg,
            by_fix=mark.by_fix,
            fix_m=sum(self.fixes_m) / len(self.fixes_m)
            if self.driver_placed and self.fixes_m
            else None,
        )
        self.holds[self.mark, self.heading_deg] = hold
        level = "no level" if hold.level_dbm is None else f"{hold.level_dbm:.1f} dBm"
        self.told.append(
            f"{mark.distance_m:.0f} m, {HEADING_WORDS[self.heading_deg]}: {level}, "
            f"{hold.reports} reports"
        )
        self.average = self.held_from_s = None
        stillness.begin()
        here = [heading for heading in self.headings if (self.mark, heading) in self.holds]
        self.phase = Phase.BETWEEN if len(here) == len(self.headings) else Phase.TURNING

    def _refine(self, mark: Mark) -> None:
        """Take the mean of the fixes of all holds at a mark as its distance."""
        held = [hold for (index, _), hold in self.holds.items() if index == self.mark]
        here_m = sum(self.fixes_m) / len(self.fixes_m)
        mark.distance_m = (mark.distance_m * len(held) + here_m) / (len(held) + 1)
