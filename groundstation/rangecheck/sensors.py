"""Step 1: what the sensors of a car at rest say.

Owns the measurement over one still stretch and its findings. Rule: a car that is moved begins anew;
a sensor that says nothing is missing, not sound.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt
from statistics import fmean

from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.setting import RestLimits
from groundstation.rangecheck.stillness import magnitude_g
from groundstation.vehicle.peaks import is_clipped, number
from protocol import Value

MOST_SAMPLES = 2000
"""A car that is left standing does not fill the memory."""


@dataclass(slots=True)
class RestMeasure:
    """One still stretch."""

    began_s: float | None = None
    heard_s: float = 0.0
    restarts: int = 0
    yaw_dps: list[float] = field(default_factory=list)
    accel_g: list[float] = field(default_factory=list)
    volts: list[float] = field(default_factory=list)
    motions: int = 0
    clipped: int = 0
    fix: dict[str, Value] | None = None
    """The newest."""

    def moved(self) -> None:
        """Begin anew: the car was moved."""
        if self.began_s is not None:
            self.restarts += 1
        self.began_s = None
        self.motions = self.clipped = 0
        self.yaw_dps.clear()
        self.accel_g.clear()

    def take_motion(
        self, values: Mapping[str, Value], at_s: float, full_scale_g: float | None
    ) -> None:
        """Take note of a motion frame of a car that stands still."""
        self.began_s = at_s if self.began_s is None else self.began_s
        self.heard_s = at_s
        self.motions += 1
        self.clipped += is_clipped(values, full_scale_g)
        yaw_dps, accel_g = number(values, "yaw_rate_dps"), magnitude_g(values)
        if self.motions <= MOST_SAMPLES:
            if yaw_dps is not None:
                self.yaw_dps.append(yaw_dps)
            if accel_g is not None:
                self.accel_g.append(accel_g)

    def take_power(self, values: Mapping[str, Value]) -> None:
        """Take note of a power frame."""
        volts = number(values, "pack_voltage_v")
        if volts is not None and len(self.volts) < MOST_SAMPLES:
            self.volts.append(volts)

    @property
    def measured_s(self) -> float:
        """Length of the still stretch."""
        return 0.0 if self.began_s is None else self.heard_s - self.began_s

    @property
    def pack_voltage_v(self) -> float | None:
        """Mean over the step; None where none was reported."""
        return fmean(self.volts) if self.volts else None

    def findings(self, limits: RestLimits, *, needs_fix: bool) -> tuple[Finding, ...]:
        """Return what was found.

        Args:
            limits: What is sound.
            needs_fix: Whether the marks of the walk are taken from fixes.
        """
        if self.measured_s < limits.for_s or self.motions < 2:
            text = f"sensors at rest not measured: {self.measured_s:.1f} of {limits.for_s:g} s"
            look_at = "put the car down, keep it still, and see that motion frames arrive"
            return (_finding(Rule.MOTION, Outcome.MISSING, text, look_at, {}),)
        return (
            self._gyro(limits),
            self._accelerometer(limits),
            self._clipping(),
            self._fix(limits, needs_fix=needs_fix),
            self._pack(limits),
        )

    def _gyro(self, limits: RestLimits) -> Finding:
        if len(self.yaw_dps) < 2:
            return _finding(
                Rule.GYRO,
                Outcome.MISSING,
                "the car reports no yaw rate",
                "look at the gyro's wiring and the firmware",
                {},
            )
        bias_dps, noise_dps = fmean(self.yaw_dps), _spread(self.yaw_dps)
        good = abs(bias_dps) <= limits.gyro_bias_dps and noise_dps <= limits.gyro_noise_dps
        return _finding(
            Rule.GYRO,
            Outcome.OK if good else Outcome.HOLD,
            f"gyro at rest {bias_dps:+.2f} deg/s (up to {limits.gyro_bias_dps:g}), "
            f"noise {noise_dps:.2f} deg/s (up to {limits.gyro_noise_dps:g})",
            "" if good else "keep the car still while it is switched on, and look at the mounting",
            {"gyro_bias_dps": bias_dps, "gyro_noise_dps": noise_dps},
        )

    def _accelerometer(self, limits: RestLimits) -> Finding:
        if len(self.accel_g) < 2:
            return _finding(
                Rule.ACCELEROMETER,
                Outcome.MISSING,
                "the car reports no acceleration of all three axes",
                "look at the accelerometer's wiring and the firmware",
                {},
            )
        mean_g, noise_g = fmean(self.accel_g), _spread(self.accel_g)
        good = abs(mean_g - 1.0) <= limits.accel_off_g and noise_g <= limits.accel_noise_g
        return _finding(
            Rule.ACCELEROMETER,
            Outcome.OK if good else Outcome.HOLD,
            f"|acceleration| at rest {mean_g:.3f} g (1 g within {limits.accel_off_g:g}), "
            f"noise {noise_g:.3f} g (up to {limits.accel_noise_g:g})",
            "" if good else "look at the accelerometer's scale in the firmware, and its mounting",
            {"accel_g": mean_g, "accel_noise_g": noise_g},
        )

    def _clipping(self) -> Finding:
        good = self.clipped == 0
        return _finding(
            Rule.CLIPPING,
            Outcome.OK if good else Outcome.HOLD,
            f"{self.clipped} of {self.motions} motion frames with samples at full scale",
            "" if good else "an accelerometer that clips at rest is broken or wrongly scaled",
            {"clipped_frames": float(self.clipped)},
        )

    def _fix(self, limits: RestLimits, *, needs_fix: bool) -> Finding:
        values = self.fix or {}
        kind = number(values, "fix_type")
        satellites = number(values, "satellites")
        accuracy_m = number(values, "horizontal_accuracy_m")
        figures = {"fix_type": kind, "satellites": satellites, "fix_accuracy_m": accuracy_m}
        poor = Outcome.HOLD if needs_fix else Outcome.NOTE
        if kind is None or kind < 2:
            text = "no fix: distances must be typed, and the place is not known"
            look_at = "give the satellite receiver free sight of the sky and time"
            return _finding(Rule.FIX, poor, text, look_at, figures)
        good = kind >= 3
        good = good and (satellites is None or satellites >= limits.satellites)
        good = good and (accuracy_m is None or accuracy_m <= limits.fix_accuracy_m)
        return _finding(
            Rule.FIX,
            Outcome.OK if good else poor,
            f"fix in {'three' if kind >= 3 else 'two'} dimensions, "
            f"satellites {_or_unknown(satellites, '{:.0f}')} (at least {limits.satellites}), "
            f"accuracy {_or_unknown(accuracy_m, '{:.1f} m')} (up to {limits.fix_accuracy_m:g} m)",
            "" if good else "wait for more satellites, away from walls",
            figures,
        )

    def _pack(self, limits: RestLimits) -> Finding:
        volts = self.pack_voltage_v
        figures = {"pack_voltage_v": volts}
        if volts is None:
            text = "the car reports no pack voltage"
            outcome = Outcome.NOTE if limits.pack_low_v is None else Outcome.MISSING
            return _finding(Rule.PACK, outcome, text, "look at the pack by other means", figures)
        if limits.pack_low_v is None:
            text = f"pack {volts:.2f} V; no lowest voltage was given, so it is not judged"
            return _finding(Rule.PACK, Outcome.NOTE, text, "", figures)
        good = volts >= limits.pack_low_v
        return _finding(
            Rule.PACK,
            Outcome.OK if good else Outcome.HOLD,
            f"pack {volts:.2f} V (at least {limits.pack_low_v:g} V)",
            "" if good else "charge the pack as its maker says",
            figures,
        )


def _spread(values: list[float]) -> float:
    mean = fmean(values)
    return sqrt(fmean((value - mean) ** 2 for value in values))


def _or_unknown(value: float | None, form: str) -> str:
    return "unknown" if value is None else form.format(value)


def _finding(
    rule: Rule, outcome: Outcome, text: str, look_at: str, figures: Mapping[str, float | None]
) -> Finding:
    return Finding(rule=rule, outcome=outcome, text=text, look_at=look_at, figures=dict(figures))
