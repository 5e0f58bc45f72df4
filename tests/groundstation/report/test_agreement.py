"""What the live screen says straight after a pass, beside what the report says at home."""

from __future__ import annotations

import pytest

from groundstation.recording.reader import open_session
from groundstation.vehicle.session_events import PassEnded, SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from tests.groundstation.report.tellings import telling_of
from tests.replay_data import FOLDER


class Told:
    """Keeps the passes that a listener is told of."""

    def __init__(self) -> None:
        self.passes: list[PassEnded] = []

    def happened(self, event: SessionEvent) -> None:
        if isinstance(event, PassEnded):
            self.passes.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Only events count here."""


@pytest.mark.parametrize("name", ["opposite_passes", "oscillation_before", "antenna_disturbed"])
def test_the_summary_after_a_pass_agrees_with_the_report(name: str) -> None:
    recording, listener = open_session(FOLDER / f"{name}.session"), Told()
    timeline = Timeline(Telemetry(), [listener])
    for inbound in recording.inbound():
        timeline.accept(inbound)
    timeline.advance(recording.end_at_s)
    analysed = telling_of(name).analysis.passes
    assert len(listener.passes) == len(analysed)
    for live, later in zip(listener.passes, analysed, strict=True):
        assert later.speed is not None
        assert later.lowest is not None
        assert live.peak_speed_mps == later.speed.wheel_max_mps
        assert live.yaw_rate_abs_dps == later.yaw_rate_abs_dps
        assert live.lowest_margin_db == later.lowest.margin_db
        # Out on the course, and abreast of the driver never farther than the course is wide.
        assert live.lowest_margin_at_m == pytest.approx(abs(later.lowest.along_m or 0.0), abs=4.0)
        # Spikes are gone from both; the satellites alone are late and coarse.
        assert live.satellite_peak_mps == pytest.approx(later.speed.peak.speed_mps, rel=0.01)
        assert later.braking is not None
        # By the wheels, which slip while they brake.
        assert live.braking_mps2 == pytest.approx(later.braking.mean_decel_mps2, rel=0.12)
