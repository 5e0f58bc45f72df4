"""`groundstation`, and `python -m groundstation`."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from groundstation.cli.parser import parse
from groundstation.errors import GroundstationError


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return the exit code: 0 fine, 1 a failed job, 2 wrong usage."""
    arguments = parse(argv)
    try:
        return arguments.run(arguments)  # type: ignore[no-any-return]
    except GroundstationError as error:
        print(f"groundstation: {error}", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # The reader of a pipe has heard enough. Nothing more may be written, not even at exit.
        sys.stdout = None
        return 0
    except KeyboardInterrupt:
        return 0


if __name__ == "__main__":
    sys.exit(main())
