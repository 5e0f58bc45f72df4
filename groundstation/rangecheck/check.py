"""The guided check: inbound events, ticks and named requests in; a frozen view and a record out.

Owns the order of the steps and which frames each of them is told of. It decodes for itself, so that
every radio report counts and not only the newest at a tick. Pure: the time is an argument. Rule: a
step that is left keeps what it measured; one that is repeated begins anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from groundstation.inbound import BytesReceived, Inbound
from groundstation.rangecheck.failsafe import FailsafeProof
from groundstation.rangecheck.failsafe_findings import failsafe_findings
from groundstation.rangecheck.finding import Finding
from groundstation.rangecheck.guide import walk_instruction
from groundstation.rangecheck.heard import HeardCar
from groundstation.rangecheck.levels import LevelReading
from groundstation.rangecheck.record import Bound, CheckRecord, Hold, Verdict
from groundstation.rangecheck.sensors import RestMeasure
from groundstation.rangecheck.setting import HEADING_WORDS, CheckSetting
from groundstation.rangecheck.verdict import Judged, judge_walk, verdict_of
from groundstation.rangecheck.view import CheckView, Step, StepView
from groundstation.rangecheck.walk import Walk
from groundstation.vehicle.control import full_scale_g
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import Noted
from protocol import SampleReceived, Table

STEPS = tuple(Step)

LEAST_MARK_M = 1.0
MOST_MARK_M = 5000.0


class RangeCheck:
    """One check of one vehicle."""

    def __init__(
        self,
        profile: VehicleProfile | None = None,
        *,
        setting: CheckSetting | None = None,
        table: Table | None = None,
        earlier: Sequence[CheckRecord] = (),
        bound: Bound | None = None,
    ) -> None:
        """Begin with the sensors.

        Args:
            profile: Of the vehicle.
            setting: Of the check.
            table: Of the wire.
            earlier: Checks, oldest first; those of other vehicles are passed over.
            bound: What the person told of place, pack and set-up; the rest comes from the car.
        """
        self.profile = profile or VehicleProfile()
        self.setting = setting or CheckSetting()
        self.step = Step.SENSORS
        self.finished = False
        self.now_s = 0.0
        """Time of the last event or tick."""
        self._earlier = tuple(earlier)
        self._bound = bound or Bound()
        self._car = HeardCar(self.profile, table)
        self._rest = RestMeasure()
        self._proof = FailsafeProof(self.setting.failsafe)
        self._walk = self._new_walk()
        self._passed: set[Step] = set()
        """Steps that were left by themselves; whoever comes back to look may stay."""
        self._judged: tuple[object, Judged] | None = None

    def handle(self, inbound: Inbound) -> list[Noted]:
        """Take note of an inbound event; return what is worth telling."""
        self.now_s = inbound.at_s
        if not isinstance(inbound, BytesReceived):
            self._car.told(inbound)
            return []
        told: list[Noted] = []
        for sample in self._car.receive(inbound.data, inbound.at_s):
            self._take(sample, inbound.at_s)
            told += self._advance()
        return told

    def tick(self, now_s: float) -> list[Noted]:
        """Judge what only time tells."""
        self.now_s = now_s
        if self.finished:
            return []
        if self.step is Step.FAILSAFE:
            self._proof.tick(now_s)
        return self._advance()

    # The named requests. Each returns one plain sentence: what was done, or why it was not.

    def go_to(self, step: Step) -> str:
        """Go to a step; what the one that is left has measured is kept."""
        if self.finished:
            return "the check is finished"
        self.step = step
        self._car.stillness.begin()
        return f"step {STEPS.index(step) + 1}, {step}"

    def next_step(self) -> str:
        """Go to the step after this one."""
        place = STEPS.index(self.step)
        if place + 1 == len(STEPS):
            return "this is the last step"
        return self.go_to(STEPS[place + 1])

    def repeat(self, step: Step) -> str:
        """Forget what a step measured and go to it."""
        if self.finished:
            return "the check is finished"
        self._passed.discard(step)
        match step:
            case Step.SENSORS:
                self._rest = RestMeasure()
            case Step.FAILSAFE:
                self._proof = FailsafeProof(self.setting.failsafe)
            case Step.WALK:
                self._walk = self._new_walk()
            case Step.VERDICT:
                pass
        return self.go_to(step)

    def mark_typed(self, distance_m: float) -> str:
        """Begin at a mark of a known distance; the hold begins once the car is still."""
        if not LEAST_MARK_M <= distance_m <= MOST_MARK_M:
            return f"a mark lies {LEAST_MARK_M:g} to {MOST_MARK_M:g} m from you"
        return self._start_mark(distance_m, by_fix=False)

    def mark_by_fix(self) -> str:
        """Begin at a mark whose distance the satellite fixes tell."""
        distance_m = self._car.fix_distance_m(self.now_s)
        if distance_m is None:
            return "no fresh fix, or nobody told where you stand: type the distance instead"
        if distance_m < LEAST_MARK_M:
            return "the fix says that the car is where you stand: type the distance instead"
        return self._start_mark(distance_m, by_fix=True)

    def next_heading(self) -> str:
        """Take the person's word that the car was turned."""
        if self.finished or self.step is not Step.WALK:
            return "headings belong to the walk"
        return self._walk.next_heading(self._car.stillness)

    def transmitter_is_off(self) -> str:
        """Take the person's word that the transmitter is off."""
        if self.finished or self.step is not Step.FAILSAFE:
            return "this belongs to the failsafe step"
        self._proof.said_off(self.now_s)
        return "noted: the transmitter is off"

    def transmitter_is_on(self) -> str:
        """Take the person's word that the transmitter is on again."""
        if self.finished or self.step is not Step.FAILSAFE:
            return "this belongs to the failsafe step"
        self._proof.said_on(self.now_s)
        return "noted: the transmitter is on"

    def finish(self) -> str:
        """Go to the verdict and measure nothing more."""
        self.step, self.finished = Step.VERDICT, True
        return f"the check is finished: {verdict_of(self._all_findings())}"

    # What can be read at any time.

    def view(self) -> CheckView:
        """Return the check as it stands."""
        steps = tuple(self._step_view(step) for step in STEPS)
        findings = self._all_findings()
        reached = self.finished or self.step is Step.VERDICT
        return CheckView(
            at_s=self.now_s,
            step=self.step,
            steps=steps,
            instruction=self._instruction(),
            missing=tuple(each.text for each in findings if each.holds),
            walk=self._walk.view(self._car.stillness),
            verdict=verdict_of(findings) if reached else None,
            vehicle_name=self._car.name or None,
            finished=self.finished,
        )

    def record(self, checked: datetime) -> CheckRecord:
        """Return the check as it is to be kept.

        Args:
            checked: Time of day, with its offset.
        """
        judged, findings = self._judge(), self._all_findings()
        return CheckRecord(
            checked=checked,
            bound=self._bound_now(),
            verdict=verdict_of(findings),
            findings=findings,
            holds=self._walk.ordered(),
            prior=None if judged.fit is None else judged.fit.prior,
            threshold_dbm=self._car.threshold_dbm,
            attenuation_db=self.setting.walk.attenuation_db,
            figures=dict(judged.figures),
        )

    def _take(self, sample: SampleReceived, at_s: float) -> None:
        values, kind = sample.values, sample.kind.name
        if self.finished:
            return
        if kind == "fix":
            self._rest.fix = dict(values)
        match self.step, kind:
            case Step.SENSORS, "motion" if self._car.stillness.moving:
                self._rest.moved()
            case Step.SENSORS, "motion":
                self._rest.take_motion(values, at_s, full_scale_g(self._car.channels))
            case Step.SENSORS, "power":
                self._rest.take_power(values)
            case Step.FAILSAFE, "motion":
                self._proof.take_motion(values, at_s)
            case Step.FAILSAFE, "radio":
                self._proof.take_radio(values, at_s)
            case Step.WALK, "motion":
                self._walk.take_motion(self._car.stillness, at_s)
            case Step.WALK, "radio":
                self._walk.take_radio(values)
            case Step.WALK, "fix":
                self._walk.driver_placed = self._car.driver_is_placed
                self._walk.take_fix(self._car.fix_distance_m(self.now_s))
            case _:
                pass

    def _advance(self) -> list[Noted]:
        """Go on from a step that is done by itself, and tell what happened in the walk."""
        told = [self._noted(text) for text in self._walk.told]
        self._walk.told.clear()
        if self.finished or self.step in self._passed:
            return told
        if self.step is Step.SENSORS and self._rest.measured_s >= self.setting.rest.for_s:
            told += self._leave(self._sensor_findings())
        elif self.step is Step.FAILSAFE and self._proof.done:
            told += self._leave(failsafe_findings(self._proof))
        elif self.step is Step.WALK and self._walk.planned_done:
            told += self._leave(self._judge().findings)
        return told

    def _leave(self, findings: Sequence[Finding]) -> list[Noted]:
        told = [self._noted(f"{each.outcome}: {each.text}") for each in findings]
        self._passed.add(self.step)
        self.next_step()
        return told

    def _noted(self, text: str) -> Noted:
        return Noted(self.now_s, self._car.vehicle_s, "check", text)

    def _start_mark(self, distance_m: float, *, by_fix: bool) -> str:
        if self.finished:
            return "the check is finished"
        self.step = Step.WALK
        self._walk.start_mark(distance_m, by_fix=by_fix, stillness=self._car.stillness)
        return f"mark at {distance_m:.0f} m, {HEADING_WORDS[0]}: keep the car still"

    def _new_walk(self) -> Walk:
        reading = LevelReading(
            percent_map=self.profile.percent_map,
            raw_map=self.profile.raw_map,
            floor_dbm=self.setting.floor_dbm,
            attenuation_db=self.setting.walk.attenuation_db,
        )
        return Walk(self.setting.walk, reading)

    def _bound_now(self) -> Bound:
        told, station = self._bound, self._car.place.station or (None, None)
        return replace(
            told,
            vehicle_name=told.vehicle_name or self._car.name,
            pack_voltage_v=told.pack_voltage_v or self._rest.pack_voltage_v,
            latitude_deg=station[0] if told.latitude_deg is None else told.latitude_deg,
            longitude_deg=station[1] if told.longitude_deg is None else told.longitude_deg,
        )

    def _sensor_findings(self) -> tuple[Finding, ...]:
        needs_fix = any(mark.by_fix for mark in self._walk.marks)
        return self._rest.findings(self.setting.rest, needs_fix=needs_fix)

    def _judge(self) -> Judged:
        """Return the walk's findings; reckoned once for the same holds."""
        holds: tuple[Hold, ...] = self._walk.ordered()
        threshold_dbm = self._car.threshold_dbm
        key = (holds, threshold_dbm, self._car.name)
        if self._judged is None or self._judged[0] != key:
            judged = judge_walk(
                holds,
                setting=self.setting,
                threshold_dbm=threshold_dbm,
                required_margin_db=self.profile.limits.required_margin_db,
                braking=self.profile.braking,
                earlier=self._earlier,
                bound=self._bound_now(),
            )
            self._judged = (key, judged)
        return self._judged[1]

    def _all_findings(self) -> tuple[Finding, ...]:
        return (*self._sensor_findings(), *failsafe_findings(self._proof), *self._judge().findings)

    def _step_view(self, step: Step) -> StepView:
        match step:
            case Step.SENSORS:
                progress = min(self._rest.measured_s / self.setting.rest.for_s, 1.0)
                findings = self._sensor_findings()
            case Step.FAILSAFE:
                progress, findings = self._proof.progress, failsafe_findings(self._proof)
            case Step.WALK:
                progress = min(len(self._walk.holds) / self._walk.wanted, 1.0)
                findings = self._judge().findings
            case Step.VERDICT:
                progress = 1.0 if self.finished or self.step is Step.VERDICT else 0.0
                findings = self._all_findings() if progress else ()
        done = progress >= 1.0
        return StepView(step=step, done=done, progress=progress, findings=findings)

    def _instruction(self) -> str:
        match self.step:
            case Step.SENSORS if self._car.channels.latest.get("motion") is None:
                return "Switch the car on and wait for its telemetry"
            case Step.SENSORS:
                return f"Put the car down and keep it still for {self.setting.rest.for_s:g} s"
            case Step.FAILSAFE:
                return self._proof.instruction
            case Step.WALK:
                return walk_instruction(self._walk)
            case Step.VERDICT:
                if verdict_of(self._all_findings()) is Verdict.GO:
                    return "GO: nothing found against a run. It is advice; look for yourself"
                return "HOLD: see each reason, and what to look at first"
