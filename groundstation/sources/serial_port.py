"""A serial port: one thread that opens, reads and closes it, for as long as the source lives.

Rules, each learned from how ports fail. Only the thread touches the port, and only the calls that
every platform has: closing a port under a blocked read raises whatever it likes. The thread
closes a lost port at once, because an adapter that is replugged while its old descriptor is open
comes back under another name. Ports are opened exclusively, or a second program steals bytes.
DTR and RTS are set low first, because raising them resets many boards. Arrival is stamped in the
thread right after the read, so that a busy screen makes no byte look late. Bytes that gathered all
bear the time of the read that fetched them: by then they had surely come, while with the time of
the first the others would be heard before they were sent, and every delay counts from the
shortest.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable, Sequence
from threading import Event, Thread
from time import sleep
from typing import Protocol

from groundstation.clock import Clock
from groundstation.inbound import BytesReceived, Inbound, LinkChanged
from groundstation.sources.adapter import KnownAdapter, recognise, same_port
from groundstation.sources.address import SerialAddress
from groundstation.sources.gathering import Gathering
from groundstation.sources.listing import FoundPort, list_serial_ports
from groundstation.sources.live import LiveSource
from groundstation.sources.reconnecting import BACKOFF_S, Backoff, LinkStory
from groundstation.sources.serial_trouble import PORT_ERRORS, loss_trouble, missing, open_trouble

READ_TIMEOUT_S = 0.2
"""How long the thread may take to notice that it should stop."""

MAX_READ_BYTES = 4096
"""The receive buffer of a port has this size under Linux and Windows."""

CLOSE_TIMEOUT_S = 1.0
"""A thread that the system holds longer than this (some drivers, while opening) is left to end
by itself; it gives up the port when it comes back."""


class SerialPort(Protocol):
    """What is used of an open port."""

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read without waiting."""
        ...

    def read(self, size: int, /) -> bytes:
        """Return up to `size` bytes; fewer after the timeout."""
        ...

    def close(self) -> None:
        """Give it up."""
        ...


def open_exclusively(device: str, baud: int) -> SerialPort:
    """Return `device`, open for us alone, 8N1, with DTR and RTS low.

    Raises:
        PORT_ERRORS: It cannot be opened.
    """
    import serial

    port = serial.Serial()
    port.port = device
    port.baudrate = baud
    port.timeout = READ_TIMEOUT_S
    port.exclusive = True
    port.dtr = False
    port.rts = False
    port.open()
    return port


class SerialSource(LiveSource):
    """Bytes from a serial port."""

    def __init__(
        self,
        address: SerialAddress,
        *,
        clock: Clock,
        backoff_s: tuple[float, float] = BACKOFF_S,
        open_port: Callable[[str, int], SerialPort] = open_exclusively,
        list_ports: Callable[[], Sequence[FoundPort]] = list_serial_ports,
        pause: Callable[[float], None] = sleep,
    ) -> None:
        super().__init__(str(address), clock=clock)
        self._address = address
        self._open_port = open_port
        self._list_ports = list_ports
        self._pause = pause
        self._backoff = Backoff(backoff_s)
        self._story = LinkStory(clock)
        self._stopping = Event()
        self._adapter: KnownAdapter | None = None
        self._failure: Exception | None = None

    async def _pump(self) -> None:
        loop = asyncio.get_running_loop()
        ended = asyncio.Event()
        thread = Thread(target=self._read_for_ever, args=(loop, ended), name=self.name, daemon=True)
        thread.start()
        try:
            await ended.wait()
        finally:
            self._stopping.set()
            self._handover.close()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(CLOSE_TIMEOUT_S):
                    await ended.wait()
                thread.join()
        if self._failure is not None:
            raise self._failure

    # All that follows runs in the thread.

    def _read_for_ever(self, loop: asyncio.AbstractEventLoop, ended: asyncio.Event) -> None:
        def hand_over(event: Inbound) -> None:
            if not self._handover.put_from_thread(event, loop):
                self._stopping.set()

        try:
            while not self._stopping.is_set():
                for change in self._open_and_read(hand_over):
                    hand_over(change)
                self._stopping.wait(self._backoff.next_s())
        except Exception as unforeseen:
            self._failure = unforeseen
        finally:
            with contextlib.suppress(RuntimeError):  # the loop is gone, and its reader with it
                loop.call_soon_threadsafe(ended.set)

    def _open_and_read(self, hand_over: Callable[[Inbound], None]) -> list[LinkChanged]:
        """Read until the port is lost or we are to stop; return what to tell of that."""
        device = self._device_now()
        try:
            port = self._open_port(device, self._address.baud)
        except PORT_ERRORS as error:
            return self._story.failed(str(open_trouble(error, device, self._address.baud)))
        try:
            self._adapter = recognise(device, self._list_ports()) or self._adapter
            for change in self._story.connected(self._connected_to(device)):
                hand_over(change)
            loss = self._read(port, hand_over)
        finally:
            with contextlib.suppress(*PORT_ERRORS):
                port.close()
        if loss is None:
            return []
        is_there = self._is_there(device)
        trying = f"Opening {device} again" if is_there else str(missing(device))
        return self._story.lost(str(loss_trouble(loss, device, is_there=is_there)), trying)

    def _read(self, port: SerialPort, hand_over: Callable[[Inbound], None]) -> Exception | None:
        """Hand over what comes; return how the port was lost, or None when told to stop."""
        loss: Exception | None = None
        gathering = Gathering()
        while loss is None and not self._stopping.is_set():
            data = b""
            try:
                data = port.read(1)
                if data:
                    data += port.read(min(port.in_waiting, MAX_READ_BYTES))
            except PORT_ERRORS as error:
                loss = error
            if data:
                at_s = self._clock.now_s()
                hand_over(BytesReceived(at_s, data))
                self._backoff.begin_anew()
                if wait_s := gathering.wait_s(len(data), at_s):
                    self._pause(wait_s)
        return loss

    def _device_now(self) -> str:
        """Return the port as it was written, unless its adapter is now behind another."""
        written = self._address.device
        found = self._adapter.find(self._list_ports()) if self._adapter is not None else None
        return written if found is None or same_port(found, written) else found

    def _connected_to(self, device: str) -> str:
        written = self._address.device
        renamed = "" if device == written else f", the adapter that was {written}"
        return f"connected to {device} at {self._address.baud} baud{renamed}"

    def _is_there(self, device: str) -> bool:
        if os.name == "nt":
            return any(same_port(port.device, device) for port in self._list_ports())
        return os.path.exists(device)
