"""All that defines a simulated run but its seed: one frozen tree of parameters.

Owns nothing that moves. A variant is `dataclasses.replace` on the branch that differs.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.simulator.channel import ChannelParameters
from groundstation.simulator.control_receiver import ControlReceiverParameters
from groundstation.simulator.downlink import TelemetryParameters
from groundstation.simulator.drive import DriveParameters, PackParameters
from groundstation.simulator.driver_plan import DriverPlan
from groundstation.simulator.inertial import InertialParameters
from groundstation.simulator.road import RoadParameters
from groundstation.simulator.satellite import Origin, SatelliteParameters
from groundstation.simulator.tumble import TumbleParameters
from groundstation.simulator.yaw import StabiliserParameters, YawParameters


@dataclass(frozen=True, slots=True)
class CarParameters:
    """A car: its body and how it is set up."""

    name: str = "invented car"
    """As in the ident frame: at most 16 bytes."""
    drive: DriveParameters = field(default_factory=DriveParameters)
    pack: PackParameters = field(default_factory=PackParameters)
    yaw: YawParameters = field(default_factory=YawParameters)
    stabiliser: StabiliserParameters = field(default_factory=StabiliserParameters)
    tumble: TumbleParameters = field(default_factory=TumbleParameters)


@dataclass(frozen=True, slots=True)
class CourseParameters:
    """Where the car runs, and where the driver stands. The place is invented: it lies at sea."""

    origin: Origin = field(default_factory=lambda: Origin(0.0412, 0.0365, 64.0))
    driver_along_m: float = 0.0
    driver_across_m: float = -6.0
    """To the left of the line; negative is to its right."""
    half_width_m: float = 15.0
    """From the line to rough ground, where a fast car trips and rolls."""
    road: RoadParameters = field(default_factory=RoadParameters)

    @property
    def driver_deg(self) -> tuple[float, float]:
        """Latitude and longitude of the driver."""
        return self.origin.place_deg(self.driver_along_m, self.driver_across_m)


@dataclass(frozen=True, slots=True)
class SensorParameters:
    """What the car measures with."""

    inertial: InertialParameters = field(default_factory=InertialParameters)
    satellite: SatelliteParameters = field(default_factory=SatelliteParameters)
    wheel_noise_mps: float = 0.03
    clock_error: float = 18e-6
    """The car's clock runs fast by this share."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """One run to simulate."""

    name: str
    summary: str
    """One plain sentence."""
    duration_s: float
    plan: DriverPlan
    car: CarParameters = field(default_factory=CarParameters)
    course: CourseParameters = field(default_factory=CourseParameters)
    channel: ChannelParameters = field(default_factory=ChannelParameters)
    receiver: ControlReceiverParameters = field(default_factory=ControlReceiverParameters)
    sensors: SensorParameters = field(default_factory=SensorParameters)
    telemetry: TelemetryParameters = field(default_factory=TelemetryParameters)
