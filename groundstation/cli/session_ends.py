"""How each session of a list ended: only the stretch with its last pass is read.

Rule: a list is looked at often, so a session that never was fast is not read at all, and of the
others nothing before the last pass but one is decoded.
"""

from __future__ import annotations

from groundstation.errors import SessionFileError
from groundstation.inbound import BytesReceived
from groundstation.recording.info import SessionInfo
from groundstation.recording.reader import SessionFile, open_session
from groundstation.vehicle.profile import VehicleProfile
from protocol import TableError, standard_table

LEAD_S = 10.0
"""Read before the end of the last pass but one, so that the last begins in what is read."""


def ended_badly_words(info: SessionInfo, peak_speed_mps: object) -> str | None:
    """Return in words how a session ended badly; None where it did not, or nobody can tell.

    Args:
        info: The session.
        peak_speed_mps: Its highest speed; None where it is not known.
    """
    from groundstation.analysis.incident_end import ended_badly
    from groundstation.analysis.passes import find_passes
    from groundstation.analysis.record import record_of
    from protocol.batch import decode

    slowest_mps = VehicleProfile().pass_speed_mps
    if not isinstance(peak_speed_mps, int | float) or peak_speed_mps < slowest_mps:
        return None
    try:
        session = open_session(info.path)
        from_at_s = _from_at_s(session)
        channels = info.facts.get("channels")
        table = standard_table()
        if isinstance(channels, str) and channels:
            table = table.extended(channels, "channels kept in the session")
        data = b"".join(
            each.data for each in session.inbound(from_at_s) if isinstance(each, BytesReceived)
        )
    except (SessionFileError, TableError):
        return None
    batch = decode(data, table=table)
    if batch.first_vehicle is None:
        return None
    record = record_of(batch, vehicle=batch.first_vehicle)
    return ended_badly(record, find_passes(record))


def _from_at_s(session: SessionFile) -> float:
    ends_s = [each.at_s for each in session.events() if each.kind == "pass"]
    return ends_s[-2] - LEAD_S if len(ends_s) > 1 else 0.0
