"""A real browser without a window, spoken to over a pipe in its debugging protocol.

Nothing of it reaches the network: it opens files, and every request that it makes is told.
"""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")

ANSWER_S = 30.0
"""A browser that says nothing for so long hangs."""

_MOVED = """
import os, sys
os.dup2(int(sys.argv[1]), 3)
os.dup2(int(sys.argv[2]), 4)
os.execv(sys.argv[3], sys.argv[3:])
"""
"""The protocol wants descriptors 3 and 4, and only the child's may be moved."""

_QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-dev-shm-usage",
    "--window-size=1000,1200",
)


def browser_path() -> str | None:
    """Return the browser of this machine; None where there is none."""
    return next((found for name in NAMES if (found := shutil.which(name))), None)


class Browser:
    """One page of a browser."""

    def __init__(self, process: subprocess.Popen[bytes], to_fd: int, from_fd: int) -> None:
        self._process, self._to_fd, self._from_fd = process, to_fd, from_fd
        self._buffer = b""
        self._number = 0
        self._session: str | None = None
        self.requests: list[str] = []
        self.complaints: list[str] = []
        """Exceptions, and what the console and the policy said."""
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Network", "Runtime", "Log", "Page"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Ask the browser for something; return its answer."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to_fd, json.dumps(message).encode() + b"\0")
        while True:
            heard = self._next()
            if heard.get("id") == self._number:
                assert "error" not in heard, heard["error"]
                return dict(heard["result"])

    def open(self, path: Path) -> None:
        """Open a file, and wait until it is loaded."""
        self.ask("Page.navigate", url=path.as_uri())
        while self._next().get("method") != "Page.loadEventFired":
            pass

    def value(self, expression: str) -> Any:
        """Return what a JavaScript expression comes to, waiting for promises."""
        answer = self.ask(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Drag the mouse from one point of the window to another."""
        for kind, (x, y), buttons in (
            ("mouseMoved", start, 0),
            ("mousePressed", start, 1),
            ("mouseMoved", end, 1),
            ("mouseReleased", end, 0),
        ):
            self.ask(
                "Input.dispatchMouseEvent",
                type=kind,
                x=x,
                y=y,
                button="none" if kind == "mouseMoved" and not buttons else "left",
                buttons=buttons,
                clickCount=0 if kind == "mouseMoved" else 1,
            )

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._from_fd], [], [], ANSWER_S)
            data = os.read(self._from_fd, 1 << 16) if ready else b""
            assert data, "the browser says nothing"
            self._buffer += data
        text, _, self._buffer = self._buffer.partition(b"\0")
        heard: dict[str, Any] = json.loads(text)
        told = heard.get("params", {})
        match heard.get("method"):
            case "Network.requestWillBeSent":
                self.requests.append(told["request"]["url"])
            case "Runtime.exceptionThrown":
                self.complaints.append(str(told["exceptionDetails"]))
            case "Runtime.consoleAPICalled":
                self.complaints.append(str(told["args"]))
            case "Log.entryAdded":
                self.complaints.append(told["entry"]["text"])
        return heard


@contextmanager
def browser(folder: Path) -> Iterator[Browser]:
    """Run a browser whose own files are in a folder."""
    path = browser_path()
    assert path is not None
    child_reads, we_write = os.pipe()
    we_read, child_writes = os.pipe()
    process = subprocess.Popen(
        [
            *(sys.executable, "-c", _MOVED, str(child_reads), str(child_writes)),
            path,
            *_QUIET,
            f"--user-data-dir={folder}",
            "--remote-debugging-pipe",
        ],
        pass_fds=(child_reads, child_writes),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(child_reads)
    os.close(child_writes)
    try:
        yield Browser(process, we_write, we_read)
    finally:
        os.close(we_write)
        os.close(we_read)
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
