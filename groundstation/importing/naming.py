"""What the name of a column says it is. Wording: common practice of loggers, no source."""

from __future__ import annotations

import re
from collections.abc import Collection

from groundstation.importing.units import Unit, find_unit, quantity_of
from protocol import Table

_ACCEL = r"(acc|accel|acceleration|accelerometer|specific force|g force|gforce)"
_SATELLITE = r"(gps|gnss|satellite|sat)"

_RULES: tuple[tuple[str, str], ...] = (
    (rf"({_SATELLITE} )?(lat|latitude|position lat|pos lat)", "latitude_deg"),
    (rf"({_SATELLITE} )?(lon|lng|long|longitude|position long?|pos long?)", "longitude_deg"),
    (rf"({_SATELLITE} )?(speed|velocity) (acc|accuracy)|sacc|s acc", "speed_accuracy_mps"),
    (
        rf"({_SATELLITE} )?(hacc|h acc|horizontal accuracy|position accuracy|pos accuracy)",
        "horizontal_accuracy_m",
    ),
    (
        rf"{_SATELLITE} (speed|velocity|spd)|ground ?speed|speed over ground|sog|gspeed|g speed",
        "ground_speed_mps",
    ),
    (
        rf"({_SATELLITE} )?(course|heading|cog|course over ground|track|bearing|true course)",
        "course_deg",
    ),
    (rf"({_SATELLITE} )?(sats|satellites|num sats?|nsat|numsv|sats used)", "satellites"),
    (rf"({_SATELLITE} )?(fix|fix type|fixtype)", "fix_type"),
    (rf"({_ACCEL} )?(accel_?x|ax)|{_ACCEL} (x|long|longitudinal)|(long|x) {_ACCEL}", "accel_x_g"),
    (rf"({_ACCEL} )?(accel_?y|ay)|{_ACCEL} (y|lat|lateral)|(lat|y) {_ACCEL}", "accel_y_g"),
    (rf"({_ACCEL} )?(accel_?z|az)|{_ACCEL} (z|vert|vertical)|(vert|z) {_ACCEL}", "accel_z_g"),
    (
        r"yaw ?rate|yaw|gz|gyr(o)?z"
        r"|(gyr|gyro|gyroscope|angular velocity|rotation rate|omega) (z|yaw)",
        "yaw_rate_dps",
    ),
    (r"(wheel|motor|vehicle|esc) (speed|velocity)|speed|velocity|spd", "speed_mps"),
    (r"steering|steer|steering (command|servo|input|angle)|servo steering", "steering_percent"),
    (r"throttle|thr|throttle (command|input|position)", "throttle_percent"),
    (r"gyro correction|correction|stabili[sz]er( output)?", "correction_percent"),
    (r"(control |rx |radio )?rssi( dbm)?", "control_rssi_dbm"),
    (r"(control |rx |radio )?snr", "control_snr_db"),
    (r"(control |rx |radio )?(lq|link quality|packets received|rqly)", "control_received_percent"),
    (r"(pack|battery|batt|vbat|esc|main) ?(voltage|volts|v)|voltage|vbat", "pack_voltage_v"),
    (r"(pack|battery|batt|esc|motor) ?current|current", "pack_current_a"),
    (r"(controller|esc|fet) (temp|temperature)", "controller_temperature_c"),
    (r"failsafe( active)?", "failsafe_active"),
)

_COMPILED = tuple((re.compile(pattern), channel) for pattern, channel in _RULES)

_TIME = re.compile(
    r"(gps |gnss |utc |log |system |device |local )?(time|timestamp|time ?stamp|clock|utc|datetime|"
    r"date time|date|t|elapsed|elapsed time|millis|micros|seconds|uptime|vehicle|at)( of day)?"
)

_COUNTER = re.compile(
    r"(packet |frame |sample |row )?(counter|count|number|index|no|nr|sequence|#)"
)


def plain_name(name: str) -> str:
    """Return a name in lower-case words, without what stands in brackets."""
    bare = re.sub(r"[(\[][^()\[\]]*[)\]]", " ", name)
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", bare)
    return " ".join(re.sub(r"[^a-z0-9#]+", " ", apart.lower()).split())


def unit_in(name: str, quantity: str) -> tuple[str, Unit | None]:
    """Return a plain name without the unit it ends with, and that unit."""
    words = plain_name(name).split()
    for count in (2, 1):
        if len(words) > count and (unit := find_unit(quantity, "".join(words[-count:]))):
            return " ".join(words[:-count]), unit
    return " ".join(words), None


def is_time(name: str) -> bool:
    """Return whether a column is called like a time."""
    words, _ = unit_in(name, "time")
    return bool(_TIME.fullmatch(words))


def is_counter(name: str) -> bool:
    """Return whether a column is called like a count of rows."""
    return bool(_COUNTER.fullmatch(plain_name(name)))


def channel_of(name: str) -> tuple[str, Unit | None] | None:
    """Return the channel that a column is called like, with the unit that its name ends with."""
    for pattern, channel in _COMPILED:
        words, unit = unit_in(name, quantity_of(channel))
        if pattern.fullmatch(words):
            return channel, unit
        if pattern.fullmatch(plain_name(name)):
            return channel, None
    return None


def own_name(name: str, unit: str, taken: Collection[str], table: Table) -> str:
    """Return a channel's name for a column that has no place in the standard table."""
    text = f"{plain_name(name)} {unit}".lower() if unit else plain_name(name)
    bare = re.sub(r"[^a-z0-9]+", "_", text).strip("_")[:34].strip("_") or "value"
    if not bare[0].isalpha():
        bare = f"c_{bare}"
    used = {*taken, *table.by_channel, *(f.name for k in table.kinds for f in k.fields)}
    chosen, number = bare, 2
    while chosen in used:
        chosen, number = f"{bare}_{number}", number + 1
    return chosen
