"""Units that foreign logs use, and what turns them into ours.

Factors: NIST SP 811, appendix B (exact by definition; from memory); a semicircle is 180 / 2^31
degrees; a servo pulse is 1500 us at centre and 500 us from there to either end (common practice,
no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import pi

from groundstation.units import STANDARD_GRAVITY_MPS2

_DEG_PER_RAD = 180 / pi


@dataclass(frozen=True, slots=True)
class Unit:
    """How a foreign unit becomes one of ours: value * factor + offset."""

    name: str
    factor: float
    offset: float = 0.0
    aliases: tuple[str, ...] = ()
    """How logs write it, in lower case without spaces."""


QUANTITIES: dict[str, tuple[Unit, ...]] = {
    "speed": (
        Unit("m/s", 1, aliases=("mps", "ms-1", "ms^-1", "m.s-1", "m/sec", "meterspersecond")),
        Unit("km/h", 1 / 3.6, aliases=("kmh", "kph", "kmph", "km.h-1")),
        Unit("mph", 0.44704, aliases=("mi/h",)),
        Unit("kn", 1852 / 3600, aliases=("knots", "knot", "kt", "kts")),
    ),
    "acceleration": (
        Unit("g", 1, aliases=("gs", "g0", "gn")),
        Unit(
            "m/s^2",
            1 / STANDARD_GRAVITY_MPS2,
            aliases=("m/s2", "m/s²", "m/s/s", "ms-2", "mps2", "m/sec2", "m/sec^2", "ms^-2"),
        ),
        Unit("mg", 0.001, aliases=("milli-g", "millig")),
    ),
    "turn rate": (
        Unit("deg/s", 1, aliases=("dps", "°/s", "degs", "deg/sec", "degps", "degreespersecond")),
        Unit("rad/s", _DEG_PER_RAD, aliases=("rads", "radps", "rad/sec", "rps")),
    ),
    "place": (
        Unit("deg", 1, aliases=("°", "degrees", "degree", "dd")),
        Unit("rad", _DEG_PER_RAD, aliases=("radians",)),
        Unit("semicircles", 180 / 2**31, aliases=("semicircle",)),
        Unit("1e-7 deg", 1e-7, aliases=("1e-7deg", "dege7", "e7", "deg*1e7")),
    ),
    "course": (
        Unit("deg", 1, aliases=("°", "degrees", "degree")),
        Unit("rad", _DEG_PER_RAD, aliases=("radians",)),
        Unit("0.01 deg", 0.01, aliases=("cdeg", "centideg")),
    ),
    "length": (
        Unit("m", 1, aliases=("meter", "metre", "meters", "metres")),
        Unit("cm", 0.01),
        Unit("mm", 0.001),
        Unit("ft", 0.3048, aliases=("feet", "foot")),
    ),
    "share": (
        Unit("%", 1, aliases=("percent", "pct")),
        Unit("1", 100, aliases=("ratio", "-1..1", "0..1")),
        Unit("us pulse", 0.2, -300, aliases=("us", "µs", "pwm", "uspulse")),
    ),
    "level": (Unit("dBm", 1, aliases=("dbm",)),),
    "ratio": (Unit("dB", 1, aliases=("db",)),),
    "voltage": (Unit("V", 1, aliases=("v", "volt", "volts")), Unit("mV", 0.001, aliases=("mv",))),
    "current": (
        Unit("A", 1, aliases=("a", "amp", "amps", "ampere")),
        Unit("mA", 0.001, aliases=("ma",)),
    ),
    "temperature": (
        Unit("C", 1, aliases=("c", "°c", "degc", "celsius")),
        Unit("F", 5 / 9, -160 / 9, aliases=("f", "°f", "degf", "fahrenheit")),
    ),
    "time": (
        Unit("s", 1, aliases=("sec", "secs", "second", "seconds")),
        Unit("ms", 1e-3, aliases=("msec", "millis", "milliseconds", "millisecond")),
        Unit("us", 1e-6, aliases=("µs", "usec", "micros", "microseconds", "microsecond")),
        Unit("ns", 1e-9, aliases=("nsec", "nanos", "nanoseconds")),
    ),
    "number": (Unit("", 1),),
}
"""By quantity; the first unit is ours."""

_SUFFIXES = {
    "mps": "speed",
    "dps": "turn rate",
    "g": "acceleration",
    "percent": "share",
    "dbm": "level",
    "db": "ratio",
    "v": "voltage",
    "a": "current",
    "c": "temperature",
    "m": "length",
}


def quantity_of(channel: str) -> str:
    """Return what a channel of the frame table measures, by the unit that its name ends with."""
    if channel in ("latitude_deg", "longitude_deg"):
        return "place"
    if channel.endswith("_deg"):
        return "course"
    return _SUFFIXES.get(channel.rsplit("_", 1)[-1], "number") if "_" in channel else "number"


def find_unit(quantity: str, written: str) -> Unit | None:
    """Return the unit of a quantity that a log writes so, or None."""
    text = re.sub(r"[\s()\[\]{}]", "", written).lower()
    for unit in QUANTITIES[quantity]:
        if text and text in (unit.name.lower().replace(" ", ""), *unit.aliases):
            return unit
    return None


def own_unit(quantity: str) -> Unit:
    """Return the unit that our frames use."""
    return QUANTITIES[quantity][0]
