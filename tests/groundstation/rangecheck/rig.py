"""A car in somebody's hands, frame by frame, before a range check: the whole core is in it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from math import log10, pi, sin

from groundstation.inbound import BytesReceived, DriverPlaced
from groundstation.rangecheck.check import RangeCheck
from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Bound, CheckRecord, Hold, Verdict
from groundstation.rangecheck.setting import (
    HEADINGS_DEG,
    CheckSetting,
    CourseSetting,
    WalkSetting,
)
from groundstation.vehicle.profile import VehicleProfile
from protocol import Sender, Value

FRAME_S = 0.01
METRE_DEG = 1.0 / 111_195.0
CHECKED = datetime(2031, 5, 4, 9, 30, tzinfo=UTC)
COURSE = CourseSetting(far_end_m=40.0, top_speed_mps=20.0)


def law_dbm(distance_m: float, heading_deg: float = 0.0) -> float:
    """Return a level that falls with exponent 3.5, the same in every direction."""
    return -40.0 - 35.0 * log10(distance_m / 10.0)


class Rig:
    """Feeds a check with the frames of a car that does as told."""

    def __init__(
        self,
        *,
        setting: CheckSetting | None = None,
        profile: VehicleProfile | None = None,
        earlier: tuple[CheckRecord, ...] = (),
        bound: Bound | None = None,
        level_dbm: Callable[[float, float], float | None] = law_dbm,
        percent: Callable[[float], float | None] | None = None,
        sensitivity_dbm: float | None = -100.0,
        failsafe_after_s: float | None = 0.4,
        failsafe_throttle: float | None = -80.0,
        recover_after_s: float = 0.1,
        bias_dps: float = 0.4,
        gravity_g: float = 1.0,
        fixes: bool = False,
        lowest_only: bool = False,
    ) -> None:
        """Set up a car that is well.

        Args:
            setting: Of the check.
            profile: Of the vehicle.
            earlier: Checks.
            bound: As typed.
            level_dbm: Of distance and heading; None reports no level.
            percent: Of the distance; None is 100 whenever the transmitter is on.
            sensitivity_dbm: Of the ident frame.
            failsafe_after_s: Without packets; None is never.
            failsafe_throttle: In percent.
            recover_after_s: From the first packets to leaving failsafe.
            bias_dps: Of the gyro.
            gravity_g: What the accelerometer says at rest.
            fixes: Whether the car sends any.
            lowest_only: The receiver reports no percentage.
        """
        self.check = RangeCheck(
            profile,
            setting=setting or CheckSetting(course=COURSE),
            earlier=earlier,
            bound=bound,
        )
        self.sender = Sender()
        self.told: list[str] = []
        self.t_s = 0.0
        self.distance_m = 2.0
        self.heading_deg = 0.0
        self.transmitter_on = True
        self.telemetry_on = True
        self.throttle = 0.0
        self.failsafe = False
        self.extra: dict[str, Value] = {}
        """Put into every motion frame."""
        self._level_dbm, self._percent = level_dbm, percent
        self._sensitivity_dbm = sensitivity_dbm
        self._failsafe_after_s = failsafe_after_s
        self.failsafe_throttle = failsafe_throttle
        self._recover_after_s = recover_after_s
        self._bias_dps, self._gravity_g = bias_dps, gravity_g
        self._fixes, self._lowest_only = fixes, lowest_only
        self._changed_s = -10.0
        self._frame = 0

    def switch(self, *, on: bool) -> None:
        """Switch the transmitter."""
        self.transmitter_on, self._changed_s = on, self.t_s

    def run(self, seconds: float, *, yaw_dps: float = 0.0, bob_g: float = 0.0) -> None:
        """Let time pass: at rest, turned evenly, or carried."""
        for _ in range(round(seconds / FRAME_S)):
            self._step(yaw_dps, bob_g)

    def turn(self, degrees: float = 90.0) -> None:
        """Turn the car by hand."""
        self.run(abs(degrees) / 70.0, yaw_dps=70.0 if degrees > 0 else -70.0)
        self.heading_deg = (self.heading_deg + degrees) % 360.0

    def carry(self, to_m: float) -> None:
        """Carry the car to a distance, and put it down with its nose away."""
        self.run(4.0, bob_g=0.25)
        self.distance_m, self.heading_deg = to_m, 0.0

    def prove_failsafe(self, off_s: float = 3.0, on_s: float = 2.0) -> None:
        """Switch the transmitter off and on, some throttle held."""
        self.throttle = 20.0
        self.run(1.5)
        self.switch(on=False)
        self.run(off_s)
        self.throttle = 0.0
        self.switch(on=True)
        self.run(on_s)

    def hold_all(self, hold_s: float = 5.0) -> None:
        """Hold the car at each heading."""
        for heading in HEADINGS_DEG:
            if heading:
                self.turn()
            self.run(hold_s + 1.0)

    def whole(self, marks_m: tuple[float, ...]) -> CheckRecord:
        """Do the whole check as one should, the marks typed."""
        self.run(6.0)
        self.prove_failsafe()
        for distance_m in marks_m:
            self.carry(distance_m)
            self.check.mark_typed(distance_m)
            self.hold_all()
        self.check.finish()
        return self.record()

    def record(self) -> CheckRecord:
        """Return the check as it is now."""
        return self.check.record(CHECKED)

    def findings(self, rule: Rule) -> list[Finding]:
        """Return what a rule has to say now."""
        return [finding for finding in self.record().findings if finding.rule is rule]

    def _step(self, yaw_dps: float, bob_g: float) -> None:
        self.t_s += FRAME_S
        self._live()
        frames = [self._motion(yaw_dps, bob_g)]
        if self._frame % 4 == 1:
            frames.append(self._radio())
        if self._frame % 50 == 3:
            frames.append(self._encode("power", {"pack_voltage_v": 12.4}))
        if self._fixes and self._frame % 10 == 5:
            frames.append(self._fix())
        if self._frame % 200 == 0:
            frames.append(self._ident())
        if self.telemetry_on:
            for note in self.check.handle(BytesReceived(self.t_s, b"".join(frames))):
                self.told.append(note.text)
        if self._frame % 10 == 0:
            self.told += [note.text for note in self.check.tick(self.t_s)]
        self._frame += 1

    def _live(self) -> None:
        since_s = self.t_s - self._changed_s
        if not self.transmitter_on and self._failsafe_after_s is not None:
            self.failsafe = self.failsafe or since_s >= self._failsafe_after_s
        if self.transmitter_on and since_s >= self._recover_after_s:
            self.failsafe = False

    def _motion(self, yaw_dps: float, bob_g: float) -> bytes:
        throttle = self.failsafe_throttle if self.failsafe else self.throttle
        return self._encode(
            "motion",
            {
                "speed_mps": 0.0,
                # The last digit dances, as it does in a real sensor.
                "yaw_rate_dps": self._bias_dps + yaw_dps + 0.1 * (self._frame % 3 - 1),
                "accel_x_g": 0.0,
                "accel_y_g": 0.0,
                "accel_z_g": self._gravity_g
                + bob_g * sin(2.0 * pi * 1.9 * self.t_s)
                + 0.002 * (self._frame % 2),
                "accel_z_max_g": 1.05,
                "accel_z_min_g": 0.95,
                "clipped_samples": 0,
                "throttle_percent": throttle,
                "failsafe_active": self.failsafe,
                **self.extra,
            },
        )

    def _radio(self) -> bytes:
        level_dbm = self._level_dbm(self.distance_m, self.heading_deg)
        since_s = self.t_s - self._changed_s
        percent: float | None = 100.0 if self._percent is None else self._percent(self.distance_m)
        if self.transmitter_on:
            share = min(since_s / 0.45, 1.0)
        else:
            share = max(1.0 - since_s / 0.45, 0.0)
            level_dbm = level_dbm if since_s < 0.25 else None
        values: dict[str, Value] = {
            "control_rssi_dbm": None if level_dbm is None else float(round(level_dbm)),
        }
        if not self._lowest_only and percent is not None:
            values["control_received_percent"] = round(percent * share)
        return self._encode("radio", values)

    def _fix(self) -> bytes:
        return self._encode(
            "fix",
            {
                "latitude_deg": 10.0 + self.distance_m * METRE_DEG,
                "longitude_deg": 20.0,
                "ground_speed_mps": 0.0,
                "horizontal_accuracy_m": 0.8,
                "satellites": 14,
                "fix_type": 3,
            },
        )

    def place_driver(self) -> None:
        """Tell where the driver stands."""
        self.check.handle(DriverPlaced(self.t_s, 10.0, 20.0))

    def _ident(self) -> bytes:
        return self._encode(
            "ident",
            {
                "vehicle_name": "invented",
                "accel_full_scale_g": 16.0,
                "control_sensitivity_dbm": self._sensitivity_dbm,
            },
        )

    def _encode(self, kind: str, values: dict[str, Value]) -> bytes:
        return self.sender.encode(kind, values, round((self.t_s + 30.0) * 1e6))


def planned(*marks_m: float, hold_s: float = 5.0) -> CheckSetting:
    """Return a setting whose marks are planned."""
    return CheckSetting(course=COURSE, walk=WalkSetting(marks_m=marks_m, hold_s=hold_s))


def made_holds(
    level_dbm: Callable[[float, float], float] = law_dbm,
    marks_m: tuple[float, ...] = (10.0, 20.0, 40.0, 80.0),
    reports: int = 125,
) -> tuple[Hold, ...]:
    """Return holds whose levels are a function of distance and heading."""
    return tuple(
        Hold(
            mark=mark,
            distance_m=distance_m,
            heading_deg=heading,
            level_dbm=level_dbm(distance_m, heading),
            spread_db=1.0,
            reports=reports,
            missing=0,
            received_percent=100.0,
        )
        for mark, distance_m in enumerate(marks_m)
        for heading in HEADINGS_DEG
    )


def made_record(holds: tuple[Hold, ...], **changes: object) -> CheckRecord:
    """Return a check with the holds; not a reference where `changes` says so."""
    given: dict[str, object] = {
        "checked": CHECKED,
        "bound": Bound(vehicle_name="invented"),
        "verdict": Verdict.GO,
        "findings": (),
        "holds": holds,
        **changes,
    }
    return CheckRecord(**given)  # type: ignore[arg-type]


def outcomes(findings: list[Finding]) -> list[Outcome]:
    """Return the outcomes."""
    return [finding.outcome for finding in findings]
