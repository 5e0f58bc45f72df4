"""The range check that a car runs under: the newest of each vehicle, and whether it still holds.

Rule: a session keeps what it was told of the checks at its beginning, so that its replay forecasts
from the same; only the age on the live screen goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from groundstation.cli.options import Choices
from groundstation.rangecheck.record import CheckRecord, Verdict
from groundstation.rangecheck.staleness import setup_hash, stale_reasons
from groundstation.recording.checks import checks_folder, list_checks, record_as_json
from groundstation.vehicle.profile import NO_CHECK, KnownCheck
from groundstation.vehicle.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class Standing:
    """The newest check of each vehicle, beside what is so today."""

    newest: Mapping[str, CheckRecord]
    """By the vehicle's name."""
    setup_hash: str = ""
    pack: str = ""

    def words(
        self, vehicle: str | None, now: datetime, *, pack_voltage_v: float | None = None
    ) -> str:
        """Return in a few words what check a vehicle runs under.

        Args:
            vehicle: As in the ident frame.
            now: Time of day, with its offset.
            pack_voltage_v: Of the pack, where it is known; a fuller one is not the one checked.
        """
        record = self.newest.get(vehicle or "")
        if record is None:
            return NO_CHECK
        reasons = stale_reasons(
            record,
            now=now,
            setup_hash=self.setup_hash,
            pack=self.pack,
            pack_voltage_v=pack_voltage_v,
            vehicle_name=vehicle or "",
        )
        if reasons:
            return f"check is stale: {_short(reasons[0])}"
        said = f"check: {age_words((now - record.checked).total_seconds())} old"
        return said if record.verdict is Verdict.GO else f"{said}, {record.verdict}"

    def known(self, now: datetime) -> tuple[KnownCheck, ...]:
        """Return what a session is told of the checks."""
        return tuple(
            KnownCheck(vehicle=name, words=self.words(name, now), prior=record.prior)
            for name, record in sorted(self.newest.items())
        )

    def facts(self) -> dict[str, object]:
        """Return the checks as a session keeps them, by vehicle."""
        return {name: record_as_json(record) for name, record in sorted(self.newest.items())}


def read_standing(choices: Choices, *, sheet: object, pack: str) -> Standing:
    """Return the newest check of each vehicle; files that cannot be read are passed over.

    Args:
        choices: Where sessions and checks are.
        sheet: The set-up sheet of today, where there is one.
        pack: That is in the car, where it was said.
    """
    newest: dict[str, CheckRecord] = {}
    for stored in list_checks(checks_folder(choices.sessions)):
        if stored.record is not None:
            newest.setdefault(stored.record.bound.vehicle_name, stored.record)
    return Standing(newest, setup_hash(sheet) if isinstance(sheet, dict) else "", pack)


def with_checks(choices: Choices, standing: Standing, now: datetime) -> Choices:
    """Return choices whose profile knows the checks."""
    return replace(choices, profile=replace(choices.profile, checks=standing.known(now)))


def words_now(standing: Standing) -> Callable[[Snapshot], str]:
    """Return what tells, at any moment, what check the car of a snapshot runs under."""

    def words(snapshot: Snapshot) -> str:
        name = snapshot.identity.name if snapshot.identity else None
        voltage_v = snapshot.number("pack_voltage_v")
        return standing.words(name, datetime.now().astimezone(), pack_voltage_v=voltage_v)

    return words


def _short(reason: str) -> str:
    """Return a reason as far as it has room beside the level."""
    what = reason.partition(" since the range check")[0].partition(":")[0]
    return what.removeprefix("the ").removeprefix("range check ").removeprefix("is ")


def age_words(age_s: float) -> str:
    """Return an age as short as it can be said: `12 min`, `2 h`, `3 days`."""
    if age_s < 5400.0:
        return f"{max(age_s, 0.0) / 60.0:.0f} min"
    if age_s < 48.0 * 3600.0:
        return f"{age_s / 3600.0:.0f} h"
    return f"{age_s / 86400.0:.0f} days"
