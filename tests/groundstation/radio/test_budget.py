"""Noise, sensitivity and budgets against computed and published figures."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.radio.budget import (
    LINEAR_TO_CIRCULAR_LOSS_DB,
    LinkBudget,
    noise_floor_dbm,
    polarisation_loss_db,
    sensitivity_dbm,
)
from groundstation.radio.propagation import free_space_loss_db, plane_earth_loss_db


def test_noise_in_one_hertz() -> None:
    # Computed from k = 1.380649e-23 J/K; the rounded -174 belongs to 288.15 K.
    assert noise_floor_dbm(1.0) == pytest.approx(-173.975, abs=5.1e-4)
    assert noise_floor_dbm(1.0, temperature_k=288.15) == pytest.approx(-174.003, abs=5.1e-4)
    assert noise_floor_dbm(125e3) == pytest.approx(-123.006, abs=5.1e-4)


@pytest.mark.parametrize(
    ("bandwidth_hz", "noise_figure_db", "required_snr_db", "level_dbm"),
    # Computed: k T B + NF + SNR at 290 K.
    [
        (1e6, 6, 12, -95.98),
        (2e6, 10, 8, -92.97),
        (125e3, 6, -20, -137.01),
        (200e3, 5, 10, -105.97),
        (20e6, 7, 5, -88.97),
    ],
)
def test_sensitivity(
    bandwidth_hz: float, noise_figure_db: float, required_snr_db: float, level_dbm: float
) -> None:
    computed_dbm = sensitivity_dbm(
        bandwidth_hz, noise_figure_db=noise_figure_db, required_snr_db=required_snr_db
    )
    # The figures were added up from a noise density that was rounded to -173.975 first.
    assert computed_dbm == pytest.approx(level_dbm, abs=0.0055)


def test_noise_against_a_lora_library() -> None:
    lora = pytest.importorskip("pamoja.lora")
    # It counts from -174 dBm/Hz, after Semtech AN1200.22.
    assert lora.noise_floor_dbm(125_000) == -123.03
    assert noise_floor_dbm(125e3) == pytest.approx(lora.noise_floor_dbm(125_000), abs=0.03)


def test_polarisation() -> None:
    # Computed: -20 log cos.
    loss_db = polarisation_loss_db(np.array([0.0, 30.0, 45.0, 60.0, 75.0, 80.0]))
    assert loss_db == pytest.approx([0.0, 1.249, 3.010, 6.021, 11.740, 15.207], abs=5.1e-4)
    assert pytest.approx(3.010, abs=5e-4) == LINEAR_TO_CIRCULAR_LOSS_DB
    assert polarisation_loss_db(120.0) == pytest.approx(float(polarisation_loss_db(60.0)))


def test_budget_over_a_course() -> None:
    # Computed: +20 dBm, +2 dBi, 3 dB lost, -95 dBm, 1.5 and 0.05 m high, 2.4 GHz.
    budget = LinkBudget(
        transmit_power_dbm=20.0, transmit_gain_dbi=2.0, other_losses_db=3.0, threshold_dbm=-95.0
    )
    distance_m = np.array([100.0, 200.0, 400.0])
    free_db = free_space_loss_db(distance_m, 2.4e9)
    plane_db = plane_earth_loss_db(distance_m, transmitter_height_m=1.5, receiver_height_m=0.05)
    assert budget.margin_db(free_db) == pytest.approx([33.95, 27.93, 21.91], abs=0.0051)
    assert budget.margin_db(plane_db) == pytest.approx([11.50, -0.54, -12.58], abs=0.0051)
    assert budget.received_dbm(free_db) == pytest.approx(20.0 + 2.0 - 3.0 - free_db)
    assert budget.margin_db(budget.allowed_loss_db) == 0.0


def test_gains_at_both_ends_count_alike() -> None:
    at_sender = LinkBudget(transmit_power_dbm=10.0, threshold_dbm=-90.0, transmit_gain_dbi=5.0)
    at_receiver = LinkBudget(transmit_power_dbm=10.0, threshold_dbm=-90.0, receive_gain_dbi=5.0)
    assert at_sender.allowed_loss_db == at_receiver.allowed_loss_db == 105.0
