"""Range checks with fixed content, for pictures and keys. All names and numbers are invented."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import log10

from groundstation.desk import RecordState
from groundstation.inbound import LinkState
from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Hold, LevelKind, Verdict
from groundstation.rangecheck.view import CheckView, Step, StepView, WalkView
from groundstation.vehicle.snapshot import Snapshot, TelemetryLink
from tests.groundstation.screens.desks import RECORDING, readings, running

RESTING = {
    "speed_mps": 0.0,
    "yaw_rate_dps": 0.3,
    "accel_x_g": 0.01,
    "accel_y_g": -0.02,
    "accel_z_g": 1.0,
    "throttle_percent": 0.0,
    "control_rssi_dbm": -52.0,
}


@dataclass
class FakeCheckDesk:
    """A check that stands still, and remembers what it is told."""

    check_view: CheckView
    snapshot: Snapshot
    title: str = "serial:/dev/ttyUSB0"
    record_state: RecordState = RECORDING
    said: str = ""
    told: list[str] = field(default_factory=list)
    stood: int = 0

    def tell(self, words: str) -> str:
        self.told.append(words)
        return words

    def stand_here(self) -> None:
        self.stood += 1


def resting(rssi_dbm: float | None = -52.0, **changes: object) -> Snapshot:
    """Return a car at rest; changes replace fields of its control link."""
    snapshot = running(channels=readings(**(RESTING | {"control_rssi_dbm": rssi_dbm})))
    margin_db = None if rssi_dbm is None else rssi_dbm + 100.0
    control = replace(snapshot.control, rssi_dbm=rssi_dbm, margin_db=margin_db, **changes)
    return replace(snapshot, control=control, in_pass=False)


def ok(rule: Rule, text: str) -> Finding:
    return Finding(rule=rule, outcome=Outcome.OK, text=text)


SENSORS = (
    ok(Rule.GYRO, "gyro bias 0.3 deg/s"),
    ok(Rule.ACCELEROMETER, "|accel| 1.01 g"),
    ok(Rule.FIX, "fix of 14 satellites"),
    ok(Rule.PACK, "pack 32.9 V"),
)
FAILSAFE = (ok(Rule.FAILSAFE, "failsafe after 0.5 s with neutral throttle, left after 0.1 s"),)
HOLDING = (
    Finding(
        rule=Rule.LEVEL,
        outcome=Outcome.HOLD,
        text="level 9.1 dB under the last three checks (95 % sure of more than 7.4 dB)",
        look_at="how the antennas lie since the pack was changed",
    ),
    Finding(
        rule=Rule.MARGIN,
        outcome=Outcome.HOLD,
        text="margin at the far end and overrun, 214 m, 3.2 dB (5 %), under 10 dB",
        look_at="the antennas, then a shorter course or standing at mid-course",
    ),
    Finding(rule=Rule.NULL, outcome=Outcome.NOTE, text="worst heading 6.1 dB under the others"),
)
WELL = (
    ok(Rule.MARGIN, "margin at the far end and overrun, 214 m, 14.8 dB (5 %), at least 10 dB"),
    ok(Rule.LEVEL, "level 0.4 dB under the last three checks"),
    ok(Rule.EXPONENT, "signal falls with exponent 3.8"),
    ok(Rule.NULL, "worst heading 2.2 dB under the others"),
)


def holds(marks: int = 4, *, last: int = 4) -> tuple[Hold, ...]:
    """Return what was held at some marks, the last one with fewer headings."""
    made = []
    for mark in range(marks):
        distance_m = 10.0 * 2**mark
        for place in range(4 if mark + 1 < marks else last):
            level_dbm = -40.0 - 38.0 * log10(distance_m / 10.0) - (0.0, 1.8, 0.6, 2.4)[place]
            made.append(
                Hold(
                    mark=mark,
                    distance_m=distance_m,
                    heading_deg=90 * place,
                    level_dbm=level_dbm,
                    spread_db=1.1,
                    reports=120,
                    missing=0,
                    received_percent=100.0,
                )
            )
    return tuple(made)


NOT_WALKED = WalkView(
    mark=None,
    distance_m=None,
    heading_deg=None,
    held_s=0.0,
    hold_s=5.0,
    turned_deg=0.0,
    level_dbm=None,
    holds=(),
)


def check(
    step: Step,
    instruction: str,
    *,
    walk: WalkView = NOT_WALKED,
    progress: float = 0.0,
    findings: tuple[tuple[Finding, ...], ...] = ((), (), (), ()),
    verdict: Verdict | None = None,
) -> CheckView:
    """Return a check in one of its steps; those before it are done."""
    order = list(Step)
    steps = tuple(
        StepView(
            step=each,
            done=order.index(each) < order.index(step) or verdict is not None,
            progress=progress if each is step else float(order.index(each) < order.index(step)),
            findings=found,
        )
        for each, found in zip(order, findings, strict=True)
    )
    return CheckView(
        at_s=75.0,
        step=step,
        steps=steps,
        instruction=instruction,
        missing=(),
        walk=walk,
        verdict=verdict,
        vehicle_name="Sandpiper",
        finished=verdict is not None,
    )


def check_scenes() -> dict[str, FakeCheckDesk]:
    """Return a desk for every situation of a check, by name."""
    hostile = "[red]x[/] \x1b[31m\u202eevil " + "very long " * 20
    walking = replace(
        NOT_WALKED,
        mark=2,
        distance_m=40.0,
        heading_deg=180,
        held_s=3.2,
        level_dbm=-63.4,
        holds=holds(3, last=2),
    )
    turning = replace(walking, held_s=0.0, turned_deg=41.0, holds=holds(3, last=3))
    failed = Finding(
        rule=Rule.FAILSAFE,
        outcome=Outcome.HOLD,
        text="the throttle stayed at 10 % while the transmitter was off",
        look_at="the failsafe setting of the receiver: throttle off and brake",
    )
    done = (SENSORS, FAILSAFE, (), ())
    return {
        "waiting": FakeCheckDesk(
            check(Step.SENSORS, "Switch the car on and set it down; nothing is heard of it yet"),
            Snapshot(telemetry=TelemetryLink(state=LinkState.CONNECTED)),
            record_state=RecordState(),
        ),
        "sensors": FakeCheckDesk(
            check(
                Step.SENSORS,
                "Leave the car still on the ground",
                progress=0.46,
                findings=(SENSORS, (), (), ()),
            ),
            resting(),
        ),
        "failsafe": FakeCheckDesk(
            check(
                Step.FAILSAFE,
                "Hold the car up, wheels free, nobody in reach. Switch the transmitter off",
                progress=0.2,
                findings=(SENSORS, (), (), ()),
            ),
            resting(),
            said="sensors are well: go on with the failsafe",
        ),
        "failsafe_active": FakeCheckDesk(
            check(
                Step.FAILSAFE,
                "Failsafe is active, the throttle is neutral. Switch the transmitter on again",
                progress=0.6,
                findings=(SENSORS, (), (), ()),
            ),
            replace(
                resting(
                    None, received_percent=0.0, snr_db=None, failsafe_active=True, failsafe_count=1
                ),
                channels=readings(
                    **(RESTING | {"throttle_percent": -80.0, "control_rssi_dbm": None})
                ),
            ),
            said="failsafe after 0.5 s, throttle neutral",
        ),
        "walk": FakeCheckDesk(
            check(
                Step.WALK,
                "Leave the car still, nose towards you",
                walk=walking,
                progress=0.6,
                findings=done,
            ),
            resting(-63.0),
            said="40 m, nose to the left: -63.8 dBm",
        ),
        "turning": FakeCheckDesk(
            check(
                Step.WALK,
                "Turn the car a quarter to the left, nose to the right",
                walk=turning,
                progress=0.7,
                findings=done,
            ),
            resting(-63.0),
            said="40 m, nose towards you: -63.2 dBm",
        ),
        "go": FakeCheckDesk(
            check(
                Step.VERDICT,
                "",
                walk=replace(NOT_WALKED, holds=holds()),
                findings=(SENSORS, FAILSAFE, WELL, (*SENSORS, *FAILSAFE, *WELL)),
                verdict=Verdict.GO,
            ),
            resting(-75.0),
            said="kept as 20310504-112007-Sandpiper.json",
        ),
        "hold": FakeCheckDesk(
            check(
                Step.VERDICT,
                "",
                walk=replace(NOT_WALKED, holds=holds()),
                findings=(SENSORS, (failed,), HOLDING, (*SENSORS, failed, *HOLDING)),
                verdict=Verdict.HOLD,
            ),
            resting(-84.0),
            said="kept as 20310504-112007-Sandpiper.json",
        ),
        "hostile": FakeCheckDesk(
            check(
                Step.WALK,
                hostile,
                walk=replace(
                    walking,
                    holds=tuple(
                        replace(each, bounded=True, kind=LevelKind.PERCENT, by_fix=True)
                        for each in holds(9, last=1)
                    ),
                ),
                findings=((replace(SENSORS[0], text=hostile),), (failed,), (), ()),
            ),
            resting(),
            title="[@click=app.quit]port[/] " + hostile,
            said=hostile,
        ),
        "trouble": FakeCheckDesk(
            check(Step.SENSORS, "Leave the car still on the ground", progress=0.1),
            resting(),
            record_state=RecordState(False, "", "the disk is full: make room, and start again", 99),
        ),
    }
