"""Speeds in the units of the screen."""

from __future__ import annotations

import pytest

from groundstation.units import STANDARD_GRAVITY_MPS2, SpeedUnit


def test_conversion_factors() -> None:
    # NIST SP 811, appendix B (from memory; exact by definition).
    assert STANDARD_GRAVITY_MPS2 == 9.80665
    assert SpeedUnit.MPH.from_mps(1.0) == pytest.approx(2.23693629, abs=5e-9)
    assert SpeedUnit.MPH.from_mps(89.408) == pytest.approx(200.0)
    assert SpeedUnit.KMH.from_mps(27.7778) == pytest.approx(100.0, abs=1e-4)
    assert SpeedUnit.KMH.from_mps(89.408) == pytest.approx(321.8688)
    assert SpeedUnit.MPS.from_mps(12.5) == 12.5
