"""`groundstation`, and `python -m groundstation`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from shutil import get_terminal_size

from groundstation.cli.parser import parse
from groundstation.errors import GroundstationError


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0 fine, 1 a failed job, 2 wrong usage."""
    arguments = parse(argv)
    try:
        return arguments.run(arguments)  # type: ignore[no-any-return]
    except GroundstationError as error:
        print(_for_reading(f"groundstation: {error}"), file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # The reader of a pipe has heard enough. Nothing more may be written, not even at exit.
        sys.stdout = None
        return 0
    except KeyboardInterrupt:
        return 0


def _for_reading(text: str) -> str:
    """Return text as it is, for a terminal broken into rows between words."""
    if not sys.stderr.isatty():
        return text
    from groundstation.wording import filled

    return "\n".join(filled(text, get_terminal_size().columns))


if __name__ == "__main__":
    sys.exit(main())
