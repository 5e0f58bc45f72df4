"""Writes what was learned of the braking into a vehicle's file, leaving the rest as it is."""

from __future__ import annotations

import sys
from pathlib import Path

from groundstation.analysis.session import SessionAnalysis
from groundstation.errors import SettingsError, UsageError
from groundstation.settings import parse_toml, read_text
from groundstation.vehicles import SUFFIX, VehicleFile, vehicle_names, vehicles_folder
from groundstation.whole_file import written_whole
from groundstation.wording import printable


def accept_braking(
    analysis: SessionAnalysis, name: str, settings_file: Path | None, *, yes: bool
) -> None:
    """Write the learned braking into a vehicle's file, when the user says so.

    Args:
        analysis: Of the session.
        name: Of the vehicle's file.
        settings_file: The settings; vehicle files are beside them.
        yes: Whether the question is answered already.

    Raises:
        UsageError: Nothing was learned, there is no such vehicle, or the answer is no.
        SettingsError: The file cannot be read or written.
    """
    learned, folder = analysis.learned, vehicles_folder(settings_file)
    if learned is None:
        raise UsageError(f"there is nothing to accept: {analysis.learned_words}")
    known = vehicle_names(folder)
    if name not in known:
        names = ", ".join(known) or "none is there"
        raise UsageError(f"there is no vehicle {printable(name)} in {folder}", f"Known: {names}")
    path = folder / f"{name}{SUFFIX}"
    text = read_text(path, "vehicle file")
    before = parse_toml(text, str(path), VehicleFile).stopping.decel_mps2
    changed = with_braking(
        text, decel_mps2=learned.decel_mps2, decel_sigma_mps2=learned.decel_sigma_mps2
    )
    parse_toml(changed, str(path), VehicleFile)
    held = "nothing" if before is None else f"{before:g} m/s²"
    print(f"{path}: decel_mps2 {learned.decel_mps2:.2f}, until now {held}")
    if not yes:
        _confirm()
    try:
        with written_whole(path) as part:
            part.write_text(changed, encoding="utf-8")
    except OSError as error:
        raise SettingsError(f"cannot write {path}: {error.strerror or error}") from error
    print("written")


def with_braking(text: str, *, decel_mps2: float, decel_sigma_mps2: float) -> str:
    """Return a vehicle file's text with the braking set; comments and all else stay.

    Args:
        text: TOML.
        decel_mps2: Deceleration from lift to rest.
        decel_sigma_mps2: Its spread from stop to stop.
    """
    import tomlkit

    document = tomlkit.parse(text)
    stopping = document.setdefault("stopping", tomlkit.table())
    stopping["decel_mps2"] = round(decel_mps2, 2)
    stopping["decel_sigma_mps2"] = round(decel_sigma_mps2, 2)
    return tomlkit.dumps(document)


def _confirm() -> None:
    hint = "--yes writes it without a question"
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError("the braking was not accepted: there is nobody to ask", hint)
    from rich.prompt import Confirm

    try:
        accepted = Confirm.ask("Write it?", default=False)
    except EOFError:
        accepted = False
    if not accepted:
        raise UsageError("nothing was written", hint)
