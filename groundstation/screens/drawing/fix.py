"""Whether the car's position can be used: what the satellite receiver says, in few words.

All distances hang on it. Rule: a good fix takes no cell where there are few; one that is missing,
old or poor is said, for then the place is only carried on by speed.
"""

from __future__ import annotations

from groundstation.screens.drawing.links import SILENT_FROM_S
from groundstation.screens.drawing.text import ago, number
from groundstation.vehicle.place import USABLE_ACCURACY_M
from groundstation.vehicle.snapshot import Snapshot

_KINDS = {2.0: "2D fix", 3.0: "3D fix", 4.0: "differential fix", 5.0: "carrier phase fix"}
"""By the wire's fix type; under 2 is no position."""


def fix_trouble(snapshot: Snapshot) -> str:
    """Return why distances do not come from a fix now; empty where they do.

    A car that never sent a fix has none to lose: there the origin of the distances says it.
    """
    reading = (snapshot.channels or {}).get("latitude_deg")
    if reading is None:
        return ""
    if reading.stale:
        # A silent telemetry link is said itself, with its age.
        silent = (snapshot.telemetry.age_s or 0.0) >= SILENT_FROM_S
        return "" if silent else f"FIX {ago(max(snapshot.at_s - reading.at_s, 0.0))}"
    position = snapshot.number("latitude_deg"), snapshot.number("longitude_deg")
    if None in position or snapshot.number("fix_type") in (0.0, 1.0):
        return "NO FIX"
    accuracy_m = snapshot.number("horizontal_accuracy_m")
    if accuracy_m is not None and accuracy_m > USABLE_ACCURACY_M:
        return f"POOR FIX, {number(accuracy_m, 0, 'm')}"
    return ""


def fix_quality(snapshot: Snapshot) -> str:
    """Return kind, satellites and accuracy of a fix that can be used, as far as they are told."""
    if snapshot.number("latitude_deg") is None or fix_trouble(snapshot):
        return ""
    satellites = snapshot.number("satellites")
    accuracy_m = snapshot.number("horizontal_accuracy_m")
    said = [_KINDS.get(snapshot.number("fix_type") or 0.0, "fix")]
    if satellites is not None:
        said.append(f"{satellites:.0f} satellites")
    if accuracy_m is not None:
        said.append(f"accuracy {number(accuracy_m, 1, 'm')}")
    return ", ".join(said)
