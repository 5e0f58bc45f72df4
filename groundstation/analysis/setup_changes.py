"""What was changed between set-ups, and what was changed along with it.

Owns the step from set-up sheets to changes. A sheet is nested tables; a key is the way to a value
joined by dots. Rule: keys that were always changed together are one change, because no figure can
tell which of them did it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

Sheet = Mapping[str, str]
"""Flat: key to value in words."""


@dataclass(frozen=True, slots=True)
class Change:
    """One or more keys that went from one value to another."""

    keys: tuple[str, ...]
    """More than one: they were changed together, so what each did cannot be told."""
    before: tuple[str, ...]
    after: tuple[str, ...]
    """Values, one for each key."""
    rows_before: tuple[int, ...]
    rows_after: tuple[int, ...]
    """Which of the sheets have them."""
    changed_with: tuple[str, ...]
    """Other keys that have no value in common on the two sides: changed together here, though not
    everywhere among the sheets."""
    also_varied: tuple[str, ...]
    """Keys that differ between the two sides in part of the sheets: they may have their share."""

    @property
    def words(self) -> str:
        """The change in words."""
        return ", ".join(
            f"{key} {before} to {after}"
            for key, before, after in zip(self.keys, self.before, self.after, strict=True)
        )


def flat_sheet(sheet: Mapping[str, object]) -> dict[str, str]:
    """Return a set-up sheet without its nesting: `{"rear.toe_deg": "1.5"}`.

    Numbers that are equal read the same however they were written; nothing is left of empty tables.
    """
    flat: dict[str, str] = {}
    for key, value in sheet.items():
        if isinstance(value, Mapping):
            flat |= {f"{key}.{inner}": text for inner, text in flat_sheet(value).items()}
        else:
            flat[key] = value_words(value)
    return flat


def value_words(value: object) -> str:
    """Return a value of a sheet in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{float(value):.10g}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(value_words(each) for each in value) + "]"
    return str(value)


def changes_between(sheets: Sequence[Sheet]) -> list[Change]:
    """Return the changes among sheets that are given in order of time, one a run.

    Each value is compared with the one that was driven before it. A run whose sheet does not say a
    key does not count for it.
    """
    partitions: dict[tuple[int, ...], list[str]] = {}
    for key in dict.fromkeys(key for sheet in sheets for key in sheet):
        partition = _partition([sheet.get(key) for sheet in sheets])
        if max(partition) >= 1:
            partitions.setdefault(partition, []).append(key)
    changes = []
    for partition, keys in partitions.items():
        for number in range(1, max(partition) + 1):
            before = [row for row, group in enumerate(partition) if group == number - 1]
            after = [row for row, group in enumerate(partition) if group == number]
            changed_with, also_varied = _others(sheets, before, after, keys)
            changes.append(
                Change(
                    keys=tuple(keys),
                    before=tuple(sheets[before[0]][key] for key in keys),
                    after=tuple(sheets[after[0]][key] for key in keys),
                    rows_before=tuple(before),
                    rows_after=tuple(after),
                    changed_with=changed_with,
                    also_varied=also_varied,
                )
            )
    return changes


def _partition(values: list[str | None]) -> tuple[int, ...]:
    """Return the number of each value by its first appearance; -1 where it is not said."""
    numbers: dict[str, int] = {}
    return tuple(
        -1 if value is None else numbers.setdefault(value, len(numbers)) for value in values
    )


def _others(
    sheets: Sequence[Sheet], before: list[int], after: list[int], keys: list[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return other keys without a common value on both sides, and those not dealt out alike."""
    apart, uneven = [], []
    for key in dict.fromkeys(key for sheet in sheets for key in sheet):
        if key in keys:
            continue
        first, second = (Counter(sheets[row].get(key) for row in side) for side in (before, after))
        if not first.keys() & second.keys():
            apart.append(key)
        elif any(
            first[value] * second.total() != second[value] * first.total()
            for value in first | second
        ):
            uneven.append(key)
    return tuple(apart), tuple(uneven)
