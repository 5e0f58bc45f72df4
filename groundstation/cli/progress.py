"""A bar for work that takes a while, on standard error, where that is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

TOLD_EVERY = 1000

T = TypeVar("T")


@contextmanager
def progress(what: str, total: float) -> Iterator[Callable[[float], None]]:
    """Yield what tells how much of `total` is done."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not sys.stderr.isatty()) as bars:
        task = bars.add_task(what, total=total)
        yield lambda done: bars.update(task, completed=done)


def told_now_and_then(items: Iterator[T], tell: Callable[[int, T], None]) -> Iterator[T]:
    """Yield items, and tell of one in `TOLD_EVERY` how many came before it."""
    for number, item in enumerate(items):
        if number % TOLD_EVERY == 0:
            tell(number, item)
        yield item
