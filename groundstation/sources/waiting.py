"""Waiting for a procedure, but neither for ever nor after it has become pointless.

Rules: whoever waits gets on in time, whatever the procedure does; one that is given up is cancelled
and has a moment to clean up after itself; one that does not end even then is left to end by
itself, and its outcome is nobody's concern.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

from groundstation.clock import Clock

T = TypeVar("T")

CLEANING_UP_S = 1.0
"""How long a procedure that was cancelled is waited for."""

_left_alone: set[asyncio.Task[Any]] = set()
"""The event loop itself holds tasks only weakly."""


async def within(
    seconds: float,
    procedure: Coroutine[Any, Any, T],
    *,
    clock: Clock,
    pointless: Coroutine[Any, Any, object] | None = None,
) -> T:
    """Return what `procedure` gives.

    Args:
        seconds: How long it may take, on `clock`.
        procedure: What is waited for.
        clock: Measures the time.
        pointless: Ends when the procedure has become pointless.

    Raises:
        TimeoutError: It took longer.
        ConnectionAbortedError: It became pointless, or was cancelled by somebody else.
        Exception: Whatever the procedure raises.
    """
    working = asyncio.ensure_future(procedure)
    expiring = asyncio.ensure_future(clock.sleep(seconds))
    others: list[asyncio.Task[Any]] = [expiring]
    if pointless is not None:
        others.append(asyncio.ensure_future(pointless))
    try:
        await asyncio.wait([working, *others], return_when=asyncio.FIRST_COMPLETED)
        finished, expired = working.done(), expiring.done()
    finally:
        for other in others:
            other.cancel()
        await _give_up(working, clock)
        await asyncio.wait(others)
    if finished and not working.cancelled():
        return working.result()
    raise TimeoutError if expired and not finished else ConnectionAbortedError


async def _give_up(working: asyncio.Task[Any], clock: Clock) -> None:
    """Cancel a procedure that still runs, and wait a moment for it to clean up."""
    if working.done():
        _forget(working)
        return
    working.cancel()
    _left_alone.add(working)
    working.add_done_callback(_forget)
    patience = asyncio.ensure_future(clock.sleep(CLEANING_UP_S))
    try:
        await asyncio.wait([working, patience], return_when=asyncio.FIRST_COMPLETED)
    finally:
        patience.cancel()
        await asyncio.wait([patience])


def _forget(ended: asyncio.Task[Any]) -> None:
    _left_alone.discard(ended)
    if not ended.cancelled():
        ended.exception()  # looked at, so that nobody is told of it
