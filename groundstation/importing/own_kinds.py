"""Frame kinds for the channels of a foreign log that have no place in the standard table.

Each channel is a signed 32-bit number with as many decimals as its values need and its range has
room for; the kinds are TOML like a builder's own, and are kept in the session.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.importing.log import Numbers
from protocol import Table
from protocol.table import BUILDER_CODES, MAX_PAYLOAD_BYTES

FIELDS_A_KIND = MAX_PAYLOAD_BYTES // 4

MAX_DECIMALS = 6

UNKNOWN = -(2**31)

LIMIT = 2**31 - 1


def own_kinds(channels: Mapping[str, Numbers], table: Table) -> tuple[str, dict[str, list[str]]]:
    """Return TOML text that defines kinds for the channels, and the channels by kind.

    Raises:
        SessionFileError: More channels than kinds that are free can hold.
    """
    free = [code for code in BUILDER_CODES if code not in table.by_code]
    names = list(channels)
    starts = range(0, len(names), FIELDS_A_KIND)
    grouped = [names[start : start + FIELDS_A_KIND] for start in starts]
    if len(grouped) > len(free):
        raise SessionFileError("the log has more channels than frames have room for")
    text, kinds = "", dict[str, list[str]]()
    number = 0
    for code, members in zip(free, grouped, strict=False):
        number += 1
        while f"own_{number}" in table.by_name:
            number += 1
        kind = f"own_{number}"
        kinds[kind] = members
        text += f'\n[[kind]]\nname = "{kind}"\ncode = {code:#04x}\ndoc = "Imported."\n'
        text += "".join(_field_text(name, channels[name]) for name in members)
    return text, kinds


def _field_text(name: str, values: Numbers) -> str:
    decimals = decimals_of(values)
    per_unit = 10**decimals
    # Half a step inside, so that rounding the limits never leaves the range.
    limit = LIMIT // per_unit
    return (
        f'\n[[kind.field]]\nname = "{name}"\ntype = "i32"\nper_unit = {per_unit}\n'
        f"min = {-limit}.0\nmax = {limit}.0\nunknown = {UNKNOWN}\ndigits = {min(decimals, 3)}\n"
    )


def decimals_of(values: Numbers) -> int:
    """Return how many decimals show the values, as far as 32 bits have room for them."""
    known = values[np.isfinite(values)]
    if not len(known):
        return 0
    size = float(np.max(np.abs(known)))
    room = MAX_DECIMALS
    while room and size * 10**room > LIMIT // 2:
        room -= 1
    for decimals in range(room):
        scaled = known * 10**decimals
        if bool(np.all(np.abs(scaled - np.round(scaled)) < 1e-6)):
            return decimals
    return room
