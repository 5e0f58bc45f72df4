"""Writes everything that follows from the frame table, or tells what is stale.

    python -m protocol.generate          writes WIRE.md's tables, c/car_wire.h, micropython/wire.py,
                                         vectors.json
    python -m protocol.generate --check  writes nothing; exit code 1 names each stale file

The same table gives the same bytes.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from protocol.generators.c_header import c_header
from protocol.generators.micropython import micropython_module
from protocol.generators.specification import filled
from protocol.generators.vectors import vectors_json
from protocol.table import Table, standard_table


def outputs(table: Table, *, document: str) -> dict[str, str]:
    """Return the text of every generated file, by its path in this folder.

    Args:
        table: The frame table.
        document: WIRE.md as it stands, for the prose around the generated parts.
    """
    return {
        "WIRE.md": filled(document, table),
        "c/car_wire.h": c_header(table),
        "micropython/wire.py": micropython_module(table),
        "vectors.json": vectors_json(table),
    }


def main(arguments: Sequence[str] | None = None, *, folder: Path = Path(__file__).parent) -> int:
    """Write or check the generated files in `folder`; return the exit code."""
    parser = argparse.ArgumentParser(
        prog="python -m protocol.generate",
        description="Write everything that follows from the frame table.",
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing; exit 1 where a file is stale"
    )
    options = parser.parse_args(arguments)
    document = (folder / "WIRE.md").read_text(encoding="utf-8")
    stale = 0
    for name, text in outputs(standard_table(), document=document).items():
        path, wanted = folder / name, text.encode("utf-8")
        if path.exists() and path.read_bytes() == wanted:
            continue
        stale += 1
        if options.check:
            print(f"protocol/{name} is stale: run python -m protocol.generate", file=sys.stderr)
        else:
            path.write_bytes(wanted)
            print(f"protocol/{name} written")
    return 1 if stale and options.check else 0


if __name__ == "__main__":
    raise SystemExit(main())
