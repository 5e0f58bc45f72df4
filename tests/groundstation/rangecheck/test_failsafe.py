"""The failsafe proof: what counts, and what does not."""

from __future__ import annotations

import pytest

from groundstation.rangecheck.finding import Outcome, Rule
from groundstation.rangecheck.record import Verdict
from groundstation.rangecheck.view import Step
from tests.groundstation.rangecheck.rig import Rig, outcomes


def proven(rig: Rig, off_s: float = 3.0, on_s: float = 2.0) -> list[str]:
    rig.run(6.0)
    rig.prove_failsafe(off_s, on_s)
    return [finding.text for finding in rig.findings(Rule.FAILSAFE)]


def test_a_good_failsafe_is_proven_with_its_times() -> None:
    rig = Rig()
    texts = proven(rig)
    assert rig.check.step is Step.WALK
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]
    assert "failsafe proven" in texts[0]
    figures = rig.findings(Rule.FAILSAFE)[0].figures
    # Off is told within 0.2 s, so failsafe at 0.4 s shows at 0.2 to 0.4 s.
    assert 0.15 <= (figures["failsafe_after_s"] or 0.0) <= 0.45
    assert figures["throttle_percent"] == -80.0


@pytest.mark.parametrize(
    ("faults", "on_s", "reason"),
    [
        ({"failsafe_throttle": 10.0}, 2.0, "keeps throttle in failsafe: +10 %"),
        ({"failsafe_throttle": None}, 2.0, "the throttle in failsafe is not reported"),
        ({"failsafe_after_s": None}, 2.0, "never reports failsafe"),
        ({"failsafe_after_s": 2.2}, 2.0, "reports failsafe late"),
        ({"recover_after_s": 6.0}, 8.0, "recovers late: "),
        ({"recover_after_s": 60.0}, 25.0, "does not recover"),
    ],
)
def test_each_failure_holds_with_its_own_reason(
    faults: dict[str, float | None], on_s: float, reason: str
) -> None:
    rig = Rig(**faults)  # type: ignore[arg-type]
    texts = proven(rig, on_s=on_s)
    assert [text for text in texts if text.startswith(reason)]
    assert all(outcome is Outcome.HOLD for outcome in outcomes(rig.findings(Rule.FAILSAFE)))
    assert len(texts) == 1
    rig.check.finish()
    assert rig.record().verdict is Verdict.HOLD


def test_two_failures_are_two_reasons() -> None:
    texts = proven(Rig(failsafe_throttle=25.0, recover_after_s=5.0), on_s=7.0)
    assert [text.split(":")[0] for text in texts] == [
        "keeps throttle in failsafe",
        "recovers late",
    ]


def test_neutral_throttle_before_is_told_as_a_weakness() -> None:
    rig = Rig()
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(3.0)
    rig.switch(on=True)
    rig.run(2.0)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK, Outcome.NOTE]


def test_switching_on_too_soon_proves_nothing_and_asks_again() -> None:
    rig = Rig(failsafe_after_s=1.3)
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(0.7)
    rig.switch(on=True)
    rig.run(1.0)
    assert rig.check.step is Step.FAILSAFE
    assert "too short" in rig.check.view().instruction
    rig.prove_failsafe()
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]


def test_silent_telemetry_proves_nothing() -> None:
    rig = Rig()
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(0.3)
    rig.telemetry_on = False
    rig.run(2.0)
    rig.telemetry_on = True
    rig.run(0.5)
    finding = rig.findings(Rule.FAILSAFE)[0]
    assert finding.outcome is Outcome.MISSING
    assert "telemetry" in finding.text


def test_a_car_that_reports_no_radio_takes_the_persons_word() -> None:
    rig = Rig(
        level_dbm=lambda distance_m, heading_deg: None, lowest_only=True, failsafe_after_s=0.6
    )
    rig.run(6.0)
    rig.throttle = 15.0
    rig.run(2.0)
    rig.switch(on=False)
    rig.check.transmitter_is_off()
    rig.run(3.0)
    rig.switch(on=True)
    rig.check.transmitter_is_on()
    rig.run(1.0)
    finding = rig.findings(Rule.FAILSAFE)[0]
    assert finding.outcome is Outcome.OK
    assert finding.figures["failsafe_after_s"] == pytest.approx(0.6, abs=0.15)


def test_packets_that_go_on_after_the_persons_word_are_a_strangers() -> None:
    rig = Rig()
    rig.run(8.0)
    rig.check.transmitter_is_off()
    rig.run(4.0)
    finding = rig.findings(Rule.FAILSAFE)[0]
    assert finding.outcome is Outcome.HOLD
    assert "still receives" in finding.text


def test_a_level_alone_tells_when_it_was_switched_off() -> None:
    rig = Rig(lowest_only=True)
    proven(rig)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]


def test_repeating_forgets_the_failure() -> None:
    rig = Rig(failsafe_throttle=10.0)
    proven(rig)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.HOLD]
    rig.failsafe_throttle = -50.0
    rig.check.repeat(Step.FAILSAFE)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.MISSING]
    rig.prove_failsafe()
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]


def silent_radio(**faults: float | None) -> Rig:
    """Return a car that reports nothing of its control link."""
    return Rig(level_dbm=lambda distance_m, heading_deg: None, lowest_only=True, **faults)  # type: ignore[arg-type]


def test_where_nothing_tells_of_the_switch_the_time_is_not_proven() -> None:
    rig = silent_radio()
    proven(rig)
    (finding,) = rig.findings(Rule.FAILSAFE)
    assert finding.outcome is Outcome.MISSING
    assert "not how soon" in finding.text


def test_a_failsafe_that_comes_before_the_reports_fall_is_in_time() -> None:
    rig = Rig(failsafe_after_s=0.02)
    proven(rig)
    (finding,) = rig.findings(Rule.FAILSAFE)
    assert finding.outcome is Outcome.OK
    assert "told by the failsafe itself" in finding.text


def test_a_failsafe_that_comes_before_a_level_alone_is_gone_is_in_time() -> None:
    rig = Rig(failsafe_after_s=0.02, lowest_only=True)
    proven(rig)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]


def test_a_failsafe_without_anything_switched_proves_nothing() -> None:
    rig = Rig()
    rig.run(8.0)
    rig.extra = {"failsafe_active": True, "throttle_percent": -50.0}
    rig.run(0.5)
    rig.extra = {}
    rig.run(1.0)
    (finding,) = rig.findings(Rule.FAILSAFE)
    assert finding.outcome is Outcome.MISSING


def test_throttle_that_is_kept_is_seen_though_nothing_told_of_the_switch() -> None:
    rig = silent_radio(failsafe_throttle=10.0)
    (text,) = proven(rig)
    assert text.startswith("keeps throttle")


def test_telemetry_that_falls_silent_before_recovery_proves_nothing() -> None:
    rig = Rig(recover_after_s=5.0)
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(3.0)
    rig.switch(on=True)
    rig.run(0.5)
    rig.telemetry_on = False
    rig.run(1.0)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.MISSING]


def test_a_transmitter_that_stays_off_without_failsafe_ends_the_proof() -> None:
    rig = Rig(failsafe_after_s=None)
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(40.0)
    (finding,) = rig.findings(Rule.FAILSAFE)
    assert finding.outcome is Outcome.HOLD
    assert finding.text.startswith("never reports failsafe")


def test_switching_on_soon_after_failsafe_came_asks_for_nothing_more() -> None:
    rig = Rig(failsafe_after_s=0.3, recover_after_s=1.5)
    rig.throttle = 20.0
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(0.6)
    rig.switch(on=True)
    rig.run(6.0)
    assert rig.check.step is Step.WALK
    figures = rig.findings(Rule.FAILSAFE)[0].figures
    assert figures["failsafe_after_s"] is not None
    assert figures["failsafe_after_s"] <= 0.4


def test_the_persons_word_counts_only_before_the_switch_is_seen() -> None:
    rig = Rig()
    rig.throttle = 20.0
    rig.run(8.0)
    rig.switch(on=False)
    rig.run(1.0)
    rig.check.transmitter_is_off()
    rig.run(2.0)
    rig.switch(on=True)
    rig.run(2.0)
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]
    # By the reports, not from the word that came a second late.
    assert (rig.findings(Rule.FAILSAFE)[0].figures["failsafe_after_s"] or 0.0) > 0.1
