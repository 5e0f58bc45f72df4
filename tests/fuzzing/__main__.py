"""Fuzzes one target for a while; what it finds is kept."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

FOUND = Path(__file__).parent / "found"


def main() -> None:
    """Run atheris, which ends the process by itself."""
    try:
        import atheris
    except ImportError:
        sys.exit("atheris is not installed: pip install atheris")
    with atheris.instrument_imports(include=["groundstation", "protocol"]):
        from tests.fuzzing.seeds import seeds_of
        from tests.fuzzing.targets import TARGETS

    parser = argparse.ArgumentParser(prog="python -m tests.fuzzing", description=__doc__)
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--seconds", type=int, default=60)
    options = parser.parse_args()
    corpus = Path(tempfile.mkdtemp(prefix=f"fuzz_{options.target}_"))
    for number, seed in enumerate(seeds_of(options.target)):
        (corpus / f"seed{number}").write_bytes(seed)
    found = FOUND / options.target
    found.mkdir(parents=True, exist_ok=True)
    atheris.Setup(
        [
            sys.argv[0],
            f"-max_total_time={options.seconds}",
            f"-artifact_prefix={found}/",
            "-max_len=40000",
            "-timeout=10",
            "-rss_limit_mb=2000",
            str(corpus),
        ],
        TARGETS[options.target],
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
