"""Whether a check still says something of the car as it is now.

Rule: a check never goes stale silently; each reason is said in words.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from hashlib import sha256

from groundstation.rangecheck.record import CheckRecord

MOST_AGE_H = 12.0
"""A check is of its day (common practice, no source)."""
FRESH_PACK_STEP = 0.02
"""A resting pack does not gain this share of its voltage but by another pack or a charger
(common practice, no source)."""


def setup_hash(sheet: Mapping[str, object]) -> str:
    """Return what tells one set-up sheet from another; empty for an empty one."""
    if not sheet:
        return ""
    text = json.dumps(sheet, sort_keys=True, default=str)
    return sha256(text.encode()).hexdigest()[:16]


def stale_reasons(
    record: CheckRecord,
    *,
    now: datetime,
    setup_hash: str = "",
    pack: str = "",
    pack_voltage_v: float | None = None,
    max_age_h: float = MOST_AGE_H,
    vehicle_name: str = "",
) -> tuple[str, ...]:
    """Return why a check no longer holds, in words; empty while it does.

    What is not known on either side is no reason.

    Args:
        record: The check.
        now: Time of day, with its offset.
        setup_hash: Of today's set-up sheet.
        pack: As typed.
        pack_voltage_v: Now, at rest.
        max_age_h: A check older than this is stale.
        vehicle_name: Of the car that is heard now.
    """
    bound, reasons = record.bound, list[str]()
    age_h = (now - record.checked).total_seconds() / 3600.0
    if age_h > max_age_h:
        reasons.append(f"the range check is {age_h:.0f} h old")
    elif age_h < 0.0:
        reasons.append("the range check is dated later than now: look at the computer's clock")
    if vehicle_name and bound.vehicle_name and vehicle_name != bound.vehicle_name:
        reasons.append(f"the range check was of another vehicle, {bound.vehicle_name}")
    if pack and bound.pack and pack != bound.pack:
        reasons.append(f"the pack was changed since the range check: {bound.pack} then, {pack} now")
    elif (
        pack_voltage_v is not None
        and bound.pack_voltage_v is not None
        and pack_voltage_v > bound.pack_voltage_v * (1.0 + FRESH_PACK_STEP)
    ):
        reasons.append(
            f"the pack was changed or charged since the range check: "
            f"{bound.pack_voltage_v:.1f} V then, {pack_voltage_v:.1f} V now"
        )
    if setup_hash and bound.setup_hash and setup_hash != bound.setup_hash:
        reasons.append("the set-up sheet was changed since the range check")
    return tuple(reasons)
