"""The pitch of a tone over the margin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.sound.pitch import frequency_hz


@pytest.mark.parametrize(
    ("margin_db", "pitch_hz"),
    # An octave per 10 dB: 2400 Hz * 2^(-margin / 10).
    [(0.0, 2400.0), (3.0, 1949.4), (10.0, 1200.0), (20.0, 600.0), (-7.0, 2400.0), (45.0, 600.0)],
)
def test_pitch_follows_the_margin(margin_db: float, pitch_hz: float) -> None:
    assert frequency_hz(margin_db) == pytest.approx(pitch_hz, abs=0.05)


@given(st.floats(-50.0, 80.0), st.floats(-50.0, 80.0))
def test_less_margin_is_never_a_lower_pitch(one_db: float, other_db: float) -> None:
    less_db, more_db = sorted((one_db, other_db))
    assert frequency_hz(less_db) >= frequency_hz(more_db)


def test_within_the_scale_every_decibel_is_heard() -> None:
    pitches_hz = np.array([frequency_hz(margin_db) for margin_db in np.arange(0.0, 20.1, 1.0)])
    # 1 dB is 1.2 semitones.
    assert pitches_hz[:-1] / pitches_hz[1:] == pytest.approx(2**0.1)
