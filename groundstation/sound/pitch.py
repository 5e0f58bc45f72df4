"""How high a tone is: its pitch from the stop margin.

Pure, and without NumPy, which the session's own process need not load for it. The less is left,
the higher the pitch: it falls by an octave per 10 dB of margin, from 2400 Hz at none to 1949 Hz at
3 dB, 1200 Hz at 10 dB, 600 Hz at 20 dB and more. Ears and small loudspeakers are at their best
between 500 Hz and 3 kHz (common practice, no source).
"""

from __future__ import annotations

HIGHEST_HZ = 2400.0
DECIBELS_PER_OCTAVE = 10.0
GREATEST_MARGIN_DB = 20.0


def frequency_hz(stop_margin_db: float) -> float:
    """Return the pitch for a margin at the stopping point; monotone, held at both ends."""
    margin_db = min(max(stop_margin_db, 0.0), GREATEST_MARGIN_DB)
    return float(HIGHEST_HZ * 2.0 ** (-margin_db / DECIBELS_PER_OCTAVE))
