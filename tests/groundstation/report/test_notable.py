"""What the head of a report points out."""

from __future__ import annotations

from dataclasses import replace

from groundstation.analysis.session import PassAnalysis
from groundstation.report.notable import notable
from groundstation.report.words import Telling
from tests.groundstation.report.tellings import telling_of


def test_a_feeding_stabiliser_is_named_with_its_speeds() -> None:
    found = notable(telling_of("oscillation_before"))
    assert any(
        each.startswith("in pass 1 the stabiliser feeds the swing between 36 and 216 km/h")
        for each in found
    )
    assert not any("feeds" in each for each in notable(telling_of("oscillation_after")))


def test_a_clipped_shock_is_told_as_at_least() -> None:
    found = notable(telling_of("oscillation_before"))
    assert any("beyond the accelerometer: at least 16.0 g at" in each for each in found)


def test_calls_are_counted() -> None:
    assert "LIFT was called twice" in notable(telling_of("opposite_passes"))


def numbered(one: PassAnalysis, number: int, margin_db: float) -> PassAnalysis:
    assert one.lowest is not None
    return replace(
        one,
        span=replace(one.span, number=number),
        lowest=replace(one.lowest, margin_db=margin_db),
    )


def of_passes(passes: tuple[PassAnalysis, ...]) -> Telling:
    telling = telling_of("opposite_passes")
    return replace(telling, analysis=replace(telling.analysis, passes=passes))


def test_many_thin_passes_are_one_sentence_with_the_worst() -> None:
    one = telling_of("opposite_passes").analysis.passes[0]
    few = of_passes(tuple(numbered(one, each, 9.0 - each) for each in (1, 2, 3)))
    assert notable(few)[0] == (
        "in passes 1, 2 and 3 the margin was under the required 10 dB: down to 6.0 dB at -141 m "
        "in pass 3"
    )
    many = of_passes(tuple(numbered(one, each, 5.0) for each in range(1, 61)))
    assert notable(many)[0].startswith("in 60 passes the margin was under")
    assert len(notable(many)) == 2


def test_an_ordinary_session_has_nothing_to_tell() -> None:
    telling = telling_of("opposite_passes")
    assert notable(replace(telling, sheet=replace(telling.sheet, events=()))) == []
    killed = replace(telling, sheet=replace(telling.sheet, events=(), ended_cleanly=False))
    assert notable(killed) == ["the recording was not closed: the program was stopped or killed"]
