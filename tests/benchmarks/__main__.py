"""Runs one benchmark by name."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path

NAMES = sorted(path.stem for path in Path(__file__).parent.glob("[a-z]*.py"))


def main(argv: list[str]) -> int:
    """Run the benchmark named first; the rest are its own arguments."""
    if not argv or argv[0] not in NAMES:
        print("usage: python -m tests.benchmarks NAME [--json]", file=sys.stderr)
        print("names:", ", ".join(NAMES), file=sys.stderr)
        return 2
    return int(import_module(f"tests.benchmarks.{argv[0]}").main(argv[1:]))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
