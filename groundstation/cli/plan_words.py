"""What the course plan's text and data share: sentences, and where its figures are from."""

from __future__ import annotations

from dataclasses import dataclass

from groundstation import cautions
from groundstation.rangecheck.record import CheckRecord

CAUTION = f"{cautions.ADVICE} {cautions.COURSE} {cautions.LAW} {cautions.DOUBT}"

BAND_CAVEAT = {
    True: "with the same power, gains and threshold, which another radio will not have; local law "
    "limits its power and time on the air, and its antennas are three times as long.",
    False: "with the same power, gains and threshold, which another radio will not have; local law "
    "limits its power, and it shares the band with phones and cameras.",
}
"""What the figures of the other band do not tell; by whether that is the lower one."""

PASSES_YOU = (
    "Mid-course the car passes you at speed: stand well aside, behind what would stop it, and say "
    "how far with --driver-aside."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Where a plan's figures are from."""

    vehicle: str | None = None
    """Whose file was read."""
    check: CheckRecord | None = None
    """The range check it is judged by; None where there is none, or it was typed by hand."""
    assumed: frozenset[str] = frozenset()
    """Options that nobody gave."""
