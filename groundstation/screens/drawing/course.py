"""The course strip: zero, car, stop point, lift point and edge of range along one line.

Each place has a mark of its own shape, and stands in words with its metres under the line, so
nothing hangs on colour. The scale ends at a round figure and so holds still while the car moves.
"""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, clean, line, spread
from groundstation.vehicle.place import STILL_MPS, Origin
from groundstation.vehicle.snapshot import Forecast

ENDS_M = (100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10_000.0)
"""Where a scale may end."""

SEEN_EDGE_M = 2000.0
"""An edge of range beyond this does not stretch the scale: the car would stand at its foot."""

STOPPED_M = 1.0
"""A stop point nearer to the car than this is where it is."""

_ZERO, _STOP, _LIFT, _EDGE = "◇", "□", "△", "┃"
_AWAY, _NEARER = "▶", "◀"
_DRIVEN, _STOPPING, _AHEAD, _BEYOND = "━", "╍", "─", "░"


@dataclass(frozen=True, slots=True)
class Landmark:
    """A place on the course."""

    at_m: float
    mark: str
    word: str
    ink: Ink


def landmarks(forecast: Forecast) -> list[Landmark]:
    """Return the places that are known, what must not be hidden last.

    A car that stands has no stop point of its own, and comes no nearer.
    """
    nearer = forecast.away_mps is not None and forecast.away_mps < -STILL_MPS
    stop_m, car_m = forecast.stop_point_m, forecast.distance_m
    stands = stop_m is not None and car_m is not None and abs(stop_m - car_m) < STOPPED_M
    known = (
        (forecast.range_edge_m, _EDGE, "EDGE", Ink.LOST),
        (forecast.lift_point_m, _LIFT, "LIFT", Ink.LIFT),
        (None if stands else stop_m, _STOP, "STOP", Ink.THIN),
        (car_m, _NEARER if nearer else _AWAY, "CAR", Ink.STRONG),
    )
    return [Landmark(at_m, mark, word, ink) for at_m, mark, word, ink in known if at_m is not None]


def scale_end_m(forecast: Forecast) -> float:
    """Return the round figure at which the scale ends."""
    edge_m = min(forecast.range_edge_m or 0.0, SEEN_EDGE_M)
    stop_m = forecast.stop_point_m or 0.0
    reach_m = max(forecast.distance_m or 0.0, stop_m, edge_m)
    return next((end_m for end_m in ENDS_M if end_m >= reach_m), ENDS_M[-1])


def figure_steps(end_m: float) -> int:
    """Return into how many steps of round figures a scale is cut."""
    return 5 if f"{end_m:.0f}".startswith("5") else 4


def cell_of(at_m: float, end_m: float, count: int) -> int:
    """Return the cell of a place, clamped to the line."""
    return min(max(int(at_m / end_m * (count - 1) + 0.5), 0), count - 1)


def course(
    forecast: Forecast, *, width: int, rows: int, fix: str = "", trouble: str = ""
) -> list[Line]:
    """Return the strip.

    Args:
        forecast: With a distance.
        width: In cells.
        rows: 2 for the line and its words, 4 with a title and the figures of the scale.
        fix: How good the fix is that distances come from, for the title.
        trouble: Why they come from none, for the title.
    """
    end_m = scale_end_m(forecast)
    places = landmarks(forecast)
    end_text = f" {end_m:.0f} m "
    count = max(width - 1 - len(end_text), 2)
    track: list[Run] = [(" ", Ink.TEXT), *_track(forecast, places, end_m, count)]
    track_row = line(width, *track, (end_text, Ink.AXIS))
    titled = rows >= 4
    words_row = _words(forecast, places, end_m, (count, width), titled=titled)
    if not titled:
        return [track_row, words_row][:rows]
    told = "" if forecast.distance_origin == Origin.DRIVER else _origin_text(forecast)
    named: list[Run] = [(" COURSE", Ink.TITLE)]
    if fix or trouble:
        named.append((f"  {trouble or fix}", Ink.TITLE_WARNING if trouble else Ink.TITLE))
    title = spread(width, named, [(told, Ink.TITLE_WARNING)], pad=Ink.TITLE)
    return [title, words_row, track_row, _figures(end_m, count, width)]


def _origin_text(forecast: Forecast) -> str:
    return f"distances from {clean(forecast.distance_origin or 'an unknown place')} "


def _track(forecast: Forecast, places: list[Landmark], end_m: float, count: int) -> list[Run]:
    """Return the line with its marks."""
    here = cell_of(forecast.distance_m or 0.0, end_m, count)
    stop = cell_of(forecast.stop_point_m or 0.0, end_m, count)
    edge = count if forecast.range_edge_m is None else cell_of(forecast.range_edge_m, end_m, count)
    if forecast.range_edge_m is not None and forecast.range_edge_m > end_m:
        edge = count
    drawn: list[Run] = []
    for cell in range(count):
        if cell > edge:
            drawn.append((_BEYOND, Ink.LOST))
        elif cell < here:
            drawn.append((_DRIVEN, Ink.TEXT))
        elif cell < stop:
            drawn.append((_STOPPING, Ink.THIN))
        else:
            drawn.append((_AHEAD, Ink.AXIS))
    drawn[0] = (_ZERO, Ink.STRONG)
    for place in places:
        if place.at_m <= end_m:
            drawn[cell_of(place.at_m, end_m, count)] = (place.mark, place.ink)
    return drawn


def _words(
    forecast: Forecast, places: list[Landmark], end_m: float, size: tuple[int, int], *, titled: bool
) -> Line:
    """Return the words, each as near to its mark as its neighbours let it."""
    count, width = size
    if forecast.distance_origin == Origin.DRIVER:
        zeros = ["DRIVER"]
    else:
        zeros = [] if titled else [_origin_text(forecast).strip(), "NOT FROM DRIVER"]
    named = [
        (
            [
                (f"{place.mark} {place.word} ", place.ink),
                (f"{place.at_m:.0f} m", Ink.STRONG),
            ],
            cell_of(place.at_m, end_m, count),
        )
        for place in sorted(places, key=lambda place: place.at_m)
    ]
    taken = sum(cells(runs) + 2 for runs, _ in named)
    zero = next((text for text in zeros if len(text) + 4 + taken <= width), "")
    labels: list[tuple[list[Run], int]] = [([(f"{_ZERO} {zero}".rstrip(), Ink.LABEL)], 0), *named]
    starts: list[int] = []
    at = 1
    for runs, cell in labels:
        at = max(at, 1 + cell - cells(runs) // 2)
        starts.append(at)
        at += cells(runs) + 2
    end = width
    for place in reversed(range(len(labels))):
        end = min(starts[place], end - cells(labels[place][0]))
        starts[place] = max(end, 0)
        end -= 2
    drawn: list[Run] = []
    for (runs, _), start in zip(labels, starts, strict=True):
        drawn.append((" " * max(start - cells(drawn), 0), Ink.TEXT))
        drawn += runs
    return line(width, *drawn)


def _figures(end_m: float, count: int, width: int) -> Line:
    text = " " * width
    steps = figure_steps(end_m)
    for share in range(steps + 1):
        at_m = end_m * share / steps
        start = 1 + cell_of(at_m, end_m, count)
        figure = f"{at_m:.0f}"
        start = min(start, max(count + 1 - len(figure), 0)) if share == steps else start
        text = text[:start] + figure + text[start + len(figure) :]
    return line(width, (text, Ink.AXIS))
