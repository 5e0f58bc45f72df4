"""The large figures: speed, margin, yaw rate, lateral and vertical acceleration.

A value that is not known is `--`. One that is overdue is kept, but said to be old: hatched where it
is large enough, in another ink, and with its age. A shock that went beyond the accelerometer is
"at least", never a value.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

from groundstation.screens.drawing import level
from groundstation.screens.drawing.glyphs import large, largest_scale, rows_of, width_of
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import UNKNOWN, ago, beside, cells, line, number, spread
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import HeldPeaks, Snapshot

_RULE = "┃"
_HATCHED = str.maketrans("▘▝▀▖▌▞▛▗▚▐▜▄▙▟█", "▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒")


@dataclass(frozen=True, slots=True)
class Figure:
    """One large figure and what stands around it."""

    label: str
    text: str
    """Written large; `--` where nothing is known."""
    slot: str
    """The widest text usually shown: figures end at its right edge and so do not wander."""
    age_s: float | None = None
    """How old the value is; None while it is now."""
    note: tuple[Run, ...] = ()
    """Right of the label."""
    must_say: bool = False
    """Whether the note is more important than the label, where there is no room for both."""
    small: tuple[str, ...] = ()
    """Short rows right of the large text, at its foot."""


def figures(
    snapshot: Snapshot, *, unit: SpeedUnit, width: int, scale: int, lower_scale: int
) -> list[Line]:
    """Return both rows of figures.

    Args:
        snapshot: What is known.
        unit: How speed is shown.
        width: In cells.
        scale: Of speed, margin and level.
        lower_scale: Of yaw rate and accelerations; 0 leaves them out.
    """
    narrow = max(width * 3 // 10, min(width_of("888", scale) + 2, width // 3))
    wide = width - 2 * narrow
    upper = beside(
        (narrow, block(speed(snapshot, unit), width=narrow, scale=scale)),
        (narrow, ruled(block(stop_margin(snapshot, narrow), width=narrow, scale=scale))),
        (wide, ruled(level.block(snapshot, width=wide, scale=scale))),
    )
    if not lower_scale:
        return upper
    lower = beside(
        (narrow, block(yaw_rate(snapshot), width=narrow, scale=lower_scale)),
        (narrow, ruled(block(lateral(snapshot), width=narrow, scale=lower_scale))),
        (wide, ruled(block(vertical(snapshot.peaks), width=wide, scale=lower_scale))),
    )
    return upper + lower


def ruled(rows: list[Line]) -> list[Line]:
    """Return a block with a rule along its left edge, in place of the blanks below its title.

    Without it `138` beside `8.2` reads as `1388.2` from two metres.
    """
    return [rows[0], *(_ruled(row) for row in rows[1:])]


def block(figure: Figure, *, width: int, scale: int) -> list[Line]:
    """Return a figure under its label, `rows_of(scale) + 1` rows."""
    label = (f" {figure.label}", Ink.TITLE)
    note = figure.note
    if figure.age_s is not None:
        note = ((f" {ago(figure.age_s)} ", Ink.AGE), (" ", Ink.TITLE))
    elif not figure.must_say and cells([label, *note]) > width:
        note = ()
    rows = [spread(width, [label], note, pad=Ink.TITLE)]
    fitting = largest_scale(figure.slot, width=width - 2, scale=scale)
    fitting = largest_scale(figure.text, width=width - 2, scale=fitting)
    stale = figure.age_s is not None
    ink = Ink.STALE if stale else Ink.FAINT if figure.text == UNKNOWN else Ink.FIGURE
    if not fitting:
        rows.append(line(width, (f" {figure.text}", ink)))
        return rows + [line(width)] * (rows_of(scale) - 1)
    shown = large(figure.text, fitting)
    room = max(width_of(figure.slot, fitting), width_of(figure.text, fitting))
    small = figure.small if all(len(s) + room + 3 <= width for s in figure.small) else ()
    small = ("",) * (len(shown) - len(small)) + small
    for text, beside_it in zip(shown, small, strict=False):
        if stale and fitting > 1:
            text = text.translate(_HATCHED)
        aside = ((f"  {beside_it}", Ink.FAINT),) if beside_it else ()
        rows.append(line(width, (f" {text:>{room}}", ink), *aside))
    return rows + [line(width)] * (rows_of(scale) + 1 - len(rows))


def speed(snapshot: Snapshot, unit: SpeedUnit) -> Figure:
    """Return the speed, from the satellites where the car measures none itself."""
    value, age_s = _newest(snapshot, "speed_mps")
    label = f"SPEED {unit}"
    if value is None:
        value, age_s = _newest(snapshot, "ground_speed_mps")
        label = label if value is None else f"{label} sat"
    shown = None if value is None else unit.from_mps(value)
    return Figure(label, number(shown, 0), "888", age_s, _pass_note(snapshot, unit))


def stop_margin(snapshot: Snapshot, width: int) -> Figure:
    """Return the margin that 19 of 20 stops leave; the margin now where that is unknown."""
    value = snapshot.forecast.stop_margin_p05_db
    if value is None:
        return margin(snapshot)
    note = "19 of 20 above " if width >= 32 else "19 of 20"
    return Figure("STOP MARGIN dB", _decibels(value), "888", note=((note, Ink.TITLE_STRONG),))


def margin(snapshot: Snapshot) -> Figure:
    """Return the control link's margin; a stale report gives its last one."""
    control = snapshot.control
    value, age_s = control.margin_db, None
    if value is None and control.threshold_dbm is not None:
        rssi_dbm, age_s = _newest(snapshot, "control_rssi_dbm")
        value = None if rssi_dbm is None else rssi_dbm - control.threshold_dbm
    note: tuple[Run, ...] = ()
    if control.rssi_dbm is not None and control.threshold_dbm is None:
        note = (("no threshold ", Ink.TITLE_WARNING),)
    return Figure("MARGIN dB", _decibels(value), "888", age_s, note)


def _decibels(value: float | None) -> str:
    """Return a margin: a tenth where it is about to end; where it has ended, never rounded to 0."""
    if value is None or value >= 9.95:
        return number(value, 0)
    # A minus sign leaves no room for a tenth.
    return number(value, 1) if value >= 0 else number(floor(value), 0)


def yaw_rate(snapshot: Snapshot) -> Figure:
    """Return the yaw rate, positive to the left."""
    value, age_s = _newest(snapshot, "yaw_rate_dps")
    held = snapshot.peaks.yaw_rate_abs_dps
    small = () if held is None else ("peak", number(held, 0))
    return Figure("YAW deg/s", number(value, 0), "-888", age_s, small=small)


def lateral(snapshot: Snapshot) -> Figure:
    """Return the lateral acceleration, positive in a left turn."""
    value, age_s = _newest(snapshot, "accel_y_g")
    held = snapshot.peaks.accel_y_abs_g
    small = () if held is None else ("peak", number(held, 1))
    return Figure("LATERAL g", number(value, 1), "-888", age_s, small=small)


def vertical(peaks: HeldPeaks) -> Figure:
    """Return the vertical peak of the last seconds."""
    high, low = peaks.accel_z_max_g, peaks.accel_z_min_g
    label, slot = "VERTICAL PEAK g", "88.8"
    if high is None or low is None:
        return Figure(label, number(high if low is None else low, 1), slot)
    small = ("lowest", number(low, 1))
    if not peaks.clipped:
        return Figure(label, number(high, 1), slot, small=small)
    upward = high >= -low
    # Rounded toward what was surely reached: more than that is not known.
    least = max(high, -low)
    bound = f"{floor(least + 0.05)}" if least >= 9.95 else f"{floor(least * 10 + 0.1) / 10:.1f}"
    sign, said = ("≥", f"≥ {bound}") if upward else ("≤", f"≤ -{bound}")
    note = ((f" {said} g clipped ", Ink.TROUBLE), (" ", Ink.TITLE))
    text = f"{sign}{bound}" if upward else f"{sign}-{bound}"
    return Figure("VERTICAL PEAK", text, slot, None, note, True, small if upward else ())


def _ruled(row: Line) -> Line:
    if not row or row[0][0][0] != " " or row[0][1] in level.BARS.values():
        return row
    (text, ink), *others = row
    return line(cells(row), (_RULE, Ink.RULE), (text[1:], ink), *others)


def _pass_note(snapshot: Snapshot, unit: SpeedUnit) -> tuple[Run, ...]:
    peak_mps = snapshot.pass_peak_speed_mps
    if peak_mps is None:
        return ()
    ink = Ink.TITLE_STRONG if snapshot.in_pass else Ink.TITLE
    return ((f"peak {unit.from_mps(peak_mps):.0f} ", ink),)


def _newest(snapshot: Snapshot, channel: str) -> tuple[float | None, float | None]:
    """Return a channel's newest number and, where it is stale, its age."""
    reading = (snapshot.channels or {}).get(channel)
    if reading is None or isinstance(reading.value, (bool, str)) or reading.value is None:
        return None, None
    return reading.value, max(snapshot.at_s - reading.at_s, 0.0) if reading.stale else None
