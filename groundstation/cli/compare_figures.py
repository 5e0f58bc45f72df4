"""A comparison as one object for other programs."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.analysis.compare import Comparison
from groundstation.analysis.compare_trial import PassFigures
from groundstation.analysis.session_json import plain
from groundstation.report.words import Telling


def compare_figures(
    comparison: Comparison, tellings: Sequence[Telling], passes: Sequence[PassFigures]
) -> dict[str, object]:
    """Return the comparison with the sessions and the passes that went into it."""
    return {
        "words": comparison.words,
        "tested": comparison.tested,
        "changes": plain(comparison.changes),
        "sessions": [
            {
                "session": each.sheet.file,
                "started": each.sheet.started.isoformat() if each.sheet.started else None,
                "passes": len(each.analysis.passes),
                "setup": each.sheet.flat_setup,
            }
            for each in tellings
        ],
        "passes": [{"session": each.session, "figures": plain(each.figures)} for each in passes],
    }
