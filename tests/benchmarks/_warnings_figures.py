"""The figures by which rules are compared, each with its interval."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks._shares import wilson

TARGET_IN_TIME = 0.99
RESAMPLES = 1000
SWEEPS = 200
THRESHOLDS_DB = np.arange(-15.0, 40.0, 0.25)

Floats = NDArray[np.float64]


class Judged(Protocol):
    """What a comparison needs of a pass."""

    @property
    def holds(self) -> bool: ...
    @property
    def values(self) -> dict[str, Floats]: ...
    @property
    def alarms(self) -> dict[str, Floats]: ...
    @property
    def given_up_m(self) -> Floats: ...


@dataclass(frozen=True, slots=True)
class Figures:
    """One rule at one threshold on one group of passes."""

    group: str
    rule: str
    threshold_db: float
    in_time: float
    in_time_interval: tuple[float, float]
    false_lifts: float
    false_lifts_interval: tuple[float, float]
    given_up_m: float
    """Median over the passes that lose the link; negative is too late."""
    losing: int
    safe: int

    def as_dict(self) -> dict[str, object]:
        """Return the figures by name."""
        return asdict(self)


def median_of(values: Sequence[float]) -> tuple[float, float, float]:
    """Return the median and its 95 % bootstrap interval (percentile method, seeded)."""
    source = np.random.default_rng(0)
    drawn = source.choice(np.array(values), size=(RESAMPLES, len(values)))
    low, high = np.percentile(np.median(drawn, axis=1), [2.5, 97.5], method="nearest")
    return float(np.median(values)), float(low), float(high)


def ratio_of(passes: Sequence[Judged], rule: str, baseline: str) -> tuple[float, float, float]:
    """Return the distance that a rule gives up over a baseline's, each at its own 99 %.

    With the 95 % bootstrap interval over passes: both sweeps are made anew on each resample.
    """
    losing = [one for one in passes if one.holds]
    tables = [_table_m(losing, name) for name in (rule, baseline)]
    found = []
    source = np.random.default_rng(0)
    everyone = np.arange(len(losing))
    for turn in range(SWEEPS + 1):
        chosen = everyone if turn == 0 else source.choice(everyone, size=len(everyone))
        medians = []
        for table in tables:
            given_up_m = table[:, chosen]
            # A higher threshold warns no later: the first that suffices is the lowest.
            suffices = np.mean(given_up_m >= 0.0, axis=1) >= TARGET_IN_TIME
            medians.append(float(np.median(given_up_m[int(np.argmax(suffices))])))
        found.append(medians[0] / medians[1])
    low, high = np.percentile(found[1:], [2.5, 97.5])
    return found[0], float(low), float(high)


def _table_m(losing: Sequence[Judged], rule: str) -> Floats:
    """Return the distance given up, one row a threshold and one column a pass."""
    return np.array(
        [
            [_given_up_m(one, _first_tick(one, rule, threshold_db)) for one in losing]
            for threshold_db in THRESHOLDS_DB.tolist()
        ]
    )


def figures_of(
    group: str, title: str, rule: str, passes: Sequence[Judged], threshold_db: float
) -> Figures:
    """Return how a rule does at a threshold."""
    warned = [_first_tick(one, rule, threshold_db) for one in passes]
    losing = [(one, tick) for one, tick in zip(passes, warned, strict=True) if one.holds]
    false = [tick is not None for one, tick in zip(passes, warned, strict=True) if not one.holds]
    given_up_m = [_given_up_m(one, tick) for one, tick in losing]
    hits = sum(each >= 0.0 for each in given_up_m)
    return Figures(
        group=group,
        rule=title,
        threshold_db=threshold_db,
        in_time=hits / max(len(losing), 1),
        in_time_interval=wilson(hits, len(losing)),
        false_lifts=sum(false) / max(len(false), 1),
        false_lifts_interval=wilson(sum(false), len(false)),
        given_up_m=float(np.median(given_up_m)) if given_up_m else 0.0,
        losing=len(losing),
        safe=len(false),
    )


def swept(group: str, rule: str, passes: Sequence[Judged]) -> Figures:
    """Return a rule at its own lowest threshold that is in time as often as the target asks."""
    low, high = 0, len(THRESHOLDS_DB) - 1
    # A higher threshold warns no later, so the share in time only grows with it.
    while low < high:
        middle = (low + high) // 2
        found = figures_of(group, rule, rule, passes, float(THRESHOLDS_DB[middle]))
        if found.in_time >= TARGET_IN_TIME:
            high = middle
        else:
            low = middle + 1
    return figures_of(group, f"{rule}, at 99 %", rule, passes, float(THRESHOLDS_DB[low]))


def table_of(rows: Sequence[Figures]) -> str:
    """Return a table for the terminal."""
    return "\n".join(_lines(rows))


def _lines(rows: Sequence[Figures]) -> Iterator[str]:
    group = ""
    head = f"  {'rule':26} {'dB':>6}  {'in time %':>9} {'':13} {'false LIFT %':>12} {'':13}"
    for row in rows:
        if row.group != group:
            group = row.group
            yield f"\n{group}: {row.losing} passes lose the link, {row.safe} are safe"
            yield f"{head} {'given up m':>10}"
        in_time = _interval(row.in_time_interval)
        false = _interval(row.false_lifts_interval)
        yield (
            f"  {row.rule:26} {row.threshold_db:6.2f}  {100 * row.in_time:9.1f} {in_time:13} "
            f"{100 * row.false_lifts:12.1f} {false:13} {row.given_up_m:10.0f}"
        )


def _interval(interval: tuple[float, float]) -> str:
    return f"({100 * interval[0]:.1f}-{100 * interval[1]:.1f})"


def _first_tick(one: Judged, rule: str, threshold_db: float) -> int | None:
    warns = (one.values[rule] < threshold_db) | (one.alarms[rule] > 0.0)
    found = np.flatnonzero(warns)
    return int(found[0]) if len(found) else None


def _given_up_m(one: Judged, tick: int | None) -> float:
    # A rule that never warned gave nothing up and stopped nothing: the car runs past the edge.
    return float(one.given_up_m[-1 if tick is None else tick])
