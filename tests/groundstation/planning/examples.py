"""The worked example of a link budget, and plans made from it."""

from __future__ import annotations

from dataclasses import replace

from groundstation.planning.course import Course, Radio
from groundstation.radio.budget import LinkBudget
from groundstation.radio.estimate import LinkPrior
from groundstation.radio.propagation import Ground

BUDGET = LinkBudget(
    transmit_power_dbm=20.0,
    threshold_dbm=-95.0,
    transmit_gain_dbi=2.0,
    receive_gain_dbi=0.0,
    other_losses_db=3.0,
)
V15 = Ground(relative_permittivity=15.0, conductivity_s_per_m=0.005)
V4 = Ground(relative_permittivity=4.0, conductivity_s_per_m=0.01)
RADIO = Radio(
    budget=BUDGET, transmitter_height_m=1.5, car_height_m=0.05, frequency_hz=2.4e9, ground=V15
)
AT_START = Course(driver_at_m=0.0, driver_aside_m=0.0, speed_mps=0.0)
PRIOR = LinkPrior(
    level_at_1m_dbm=-8.0,
    exponent=3.8,
    level_variance_db2=1.0,
    exponent_variance=0.01,
    covariance_db=0.05,
    reach_m=100.0,
)


def stronger(radio: Radio, by_db: float) -> Radio:
    """Return the same link with more power."""
    power_dbm = radio.budget.transmit_power_dbm + by_db
    return replace(radio, budget=replace(radio.budget, transmit_power_dbm=power_dbm))
