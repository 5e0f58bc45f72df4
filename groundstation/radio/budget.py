"""From transmitter to threshold: what comes in, what would be enough, what is left over.

Owns noise, sensitivity, aerials that do not stand alike, and the sum of them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log10

import numpy as np

from groundstation.radio.propagation import Array, Numbers

BOLTZMANN_J_PER_K = 1.380649e-23
"""Exact by definition (SI, 2019)."""

STANDARD_TEMPERATURE_K = 290.0
"""To which noise figures refer."""

LINEAR_TO_CIRCULAR_LOSS_DB = 10.0 * log10(2.0)
"""One aerial linear, the other circular: half of the power, however they are turned."""


def noise_floor_dbm(
    bandwidth_hz: Numbers, *, temperature_k: float = STANDARD_TEMPERATURE_K
) -> Array:
    """Return the thermal noise power k T B; -173.975 dBm in one hertz at 290 K."""
    watts = BOLTZMANN_J_PER_K * temperature_k * np.asarray(bandwidth_hz)
    return np.asarray(10.0 * np.log10(watts) + 30.0)


def sensitivity_dbm(
    bandwidth_hz: Numbers, *, noise_figure_db: float, required_snr_db: float
) -> Array:
    """Return the weakest level a receiver works at: k T B, its noise figure and the SNR it needs.

    Args:
        bandwidth_hz: Of the receiver's filter.
        noise_figure_db: At 290 K.
        required_snr_db: Of the modulation; negative where it is spread.
    """
    return np.asarray(noise_floor_dbm(bandwidth_hz) + noise_figure_db + required_snr_db)


def polarisation_loss_db(angle_deg: Numbers) -> Array:
    """Return what two linear aerials lose that stand at an angle: -20 log cos.

    Without reflections the loss grows beyond all bounds towards 90 degrees; on a real course
    scattered waves limit it to some 20 dB (common practice, no source).
    """
    return np.asarray(-20.0 * np.log10(np.abs(np.cos(np.radians(angle_deg)))))


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkBudget:
    """All that stands between a transmitter's power and a receiver's threshold, but the path."""

    transmit_power_dbm: float
    threshold_dbm: float
    """Weakest level at which the receiver works."""
    transmit_gain_dbi: float = 0.0
    receive_gain_dbi: float = 0.0
    other_losses_db: float = 0.0
    """Cables, bodywork, polarisation; positive."""

    @property
    def allowed_loss_db(self) -> float:
        """The path loss that leaves no margin."""
        gains_db = self.transmit_gain_dbi + self.receive_gain_dbi
        return self.transmit_power_dbm + gains_db - self.other_losses_db - self.threshold_dbm

    def received_dbm(self, path_loss_db: Numbers) -> Array:
        """Return the level at the receiver."""
        return np.asarray(self.threshold_dbm + self.margin_db(path_loss_db))

    def margin_db(self, path_loss_db: Numbers) -> Array:
        """Return what the level has over the threshold."""
        return np.asarray(self.allowed_loss_db - np.asarray(path_loss_db))
