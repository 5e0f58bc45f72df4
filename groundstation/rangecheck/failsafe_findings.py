"""What a failsafe proof comes to: proven, or each reason why not.

Rule: neutral throttle is asked for as well as the flag, and recovery as well as failsafe.
"""

from __future__ import annotations

from groundstation.rangecheck.failsafe import RECOVERY_GIVEN_UP_S, FailsafeProof, Phase
from groundstation.rangecheck.finding import Finding, Outcome, Rule


def failsafe_findings(proof: FailsafeProof) -> tuple[Finding, ...]:
    """Return what was proven, or each reason why not."""
    if proof.phase is not Phase.DONE:
        return (_finding(proof, Outcome.MISSING, "failsafe not proven yet", "do the step"),)
    if proof.blind:
        text = "failsafe not proven: the telemetry fell silent during the proof"
        return (_finding(proof, Outcome.MISSING, text, "repeat it nearer to the car"),)
    if proof.stranger:
        text = "the car still receives control packets with the transmitter off"
        look_at = "look for another transmitter that is bound to the car"
        return (_finding(proof, Outcome.HOLD, text, look_at),)
    failures = _failures(proof)
    if failures:
        return tuple(_finding(proof, Outcome.HOLD, *failure) for failure in failures)
    if not proof.timed:
        text = "failsafe seen, but not how soon: nothing told when the transmitter went off"
        return (
            _finding(proof, Outcome.MISSING, text, "repeat it, and say when you switch it off"),
        )
    return (_proven(proof), *_weakness(proof))


def _failures(proof: FailsafeProof) -> list[tuple[str, str]]:
    limits, failures = proof.limits, list[tuple[str, str]]()
    after_s, neutral_s = proof.failsafe_after_s, proof.neutral_after_s
    setting = "look at the receiver's failsafe setting, and set it anew"
    if after_s is None:
        waited = f"{limits.within_s:g} s"
        text = f"never reports failsafe: nothing within {waited} of the last control packets"
        return [(text, f"{setting}; look whether the firmware reads the failsafe at all")]
    if proof.kept or neutral_s is None:
        if proof.throttle_after is None:
            failures.append(("the throttle in failsafe is not reported", "see the firmware"))
        else:
            throttle = f"{proof.throttle_after:+.0f} %"
            text = f"keeps throttle in failsafe: {throttle} past {limits.within_s:g} s"
            failures.append((text, f"{setting} to throttle off and brake"))
    elif neutral_s > limits.within_s:
        text = f"reports failsafe late: {neutral_s:.1f} s, allowed {limits.within_s:g} s"
        failures.append((text, setting))
    recovered_s = proof.recovered_after_s
    allowed = f"allowed {limits.recover_within_s:g} s"
    look_at = "look at the binding, and at what the receiver waits for"
    if recovered_s is None:
        text = f"does not recover: still in failsafe {RECOVERY_GIVEN_UP_S:g} s after the return"
        failures.append((f"{text} of the control packets, {allowed}", look_at))
    elif recovered_s > limits.recover_within_s:
        text = f"recovers late: {recovered_s:.1f} s after the control packets came back"
        failures.append((f"{text}, {allowed}", look_at))
    return failures


def _proven(proof: FailsafeProof) -> Finding:
    text = (
        f"failsafe proven: {proof.neutral_after_s or 0.0:.1f} s after the last control packets, "
        f"throttle {proof.throttle_after or 0.0:+.0f} %; recovered in "
        f"{proof.recovered_after_s or 0.0:.1f} s (switching off told by {proof.off_told_by})"
    )
    return _finding(proof, Outcome.OK, text, "")


def _weakness(proof: FailsafeProof) -> tuple[Finding, ...]:
    if proof.throttle_before > proof.limits.neutral_percent:
        return ()
    text = (
        "the throttle was neutral before: a failsafe that holds the last command "
        "would look the same"
    )
    look_at = "repeat it with the wheels clear of the ground and a little throttle"
    return (_finding(proof, Outcome.NOTE, text, look_at),)


def _finding(proof: FailsafeProof, outcome: Outcome, text: str, look_at: str) -> Finding:
    return Finding(
        rule=Rule.FAILSAFE,
        outcome=outcome,
        text=text,
        look_at=look_at,
        figures={
            "failsafe_after_s": proof.failsafe_after_s,
            "neutral_after_s": proof.neutral_after_s,
            "recovered_after_s": proof.recovered_after_s,
            "throttle_percent": proof.throttle_after,
            "throttle_before_percent": proof.throttle_before,
        },
    )
