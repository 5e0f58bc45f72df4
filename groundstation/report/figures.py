"""A session's report as one object for other programs: unknown is null, never NaN or 0."""

from __future__ import annotations

from groundstation.analysis.session_json import as_json
from groundstation.recording.info import as_json as json_text
from groundstation.report.notable import notable
from groundstation.report.words import Telling


def report_figures(telling: Telling) -> dict[str, object]:
    """Return all figures and the session's label."""
    import json

    sheet = telling.sheet
    return {
        "session": sheet.file,
        "started": sheet.started.isoformat() if sheet.started else None,
        "duration_s": round(sheet.duration_s, 3),
        "source": sheet.source,
        "invented": sheet.invented,
        "software_version": sheet.software_version,
        "notes": list(sheet.notes),
        # A set-up sheet is TOML of the user's own: dates and NaN are no JSON.
        "setup": json.loads(json_text(sheet.flat_setup)),
        "range_check": sheet.check_of(telling.analysis.record.name),
        "range_check_words": sheet.check_words,
        "notable": notable(telling),
        **as_json(telling.analysis),
    }
