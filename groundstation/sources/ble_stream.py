"""What one connection notifies of, handed over as a stream of bytes.

Owns the order of telling. Rules: the stamp is taken in the notification itself; CONNECTED comes
before the first byte of every unbroken stream. A notification cannot be made to wait: where the
reader is too far behind it is left out, and when there is room again a new stream begins, with a
CONNECTED that says how much is missing.
"""

from __future__ import annotations

from groundstation.clock import Clock
from groundstation.inbound import BytesReceived
from groundstation.sources.handover import Handover
from groundstation.sources.reconnecting import LinkStory


class NotificationStream:
    """Takes notifications in the event loop, from when it begins until it ends."""

    def __init__(self, handover: Handover, story: LinkStory, *, clock: Clock, detail: str) -> None:
        """Begin nothing yet.

        Args:
            handover: Takes the events.
            story: Makes the event that a connection stands.
            clock: Stamps the bytes.
            detail: One plain sentence: what is connected with what.
        """
        self._handover = handover
        self._story = story
        self._clock = clock
        self._detail = detail
        self._whole = False
        self._left_out = 0
        self._ended = False
        self.began = False
        """Whether CONNECTED was told."""
        self.last_s: float | None = None
        """When bytes came last."""

    def begin(self) -> bool:
        """Tell that a stream begins, unless it has; return False where there is no room."""
        if not self._whole and not self._ended:
            (connected,) = self._story.connected(self._detail)
            self._whole = self._handover.offer(connected)
            self.began |= self._whole
        return self._whole

    def take(self, data: bytes) -> None:
        """Hand over what was notified now."""
        if self._ended or not data:
            return
        begun = self.begin()
        self.last_s = self._clock.now_s()
        if begun and self._handover.offer(BytesReceived(self.last_s, data)):
            self._left_out = 0
            return
        self._whole = False
        self._left_out += 1
        self._detail = (
            "Bluetooth notifications left out because this computer was too busy to take them: "
            f"{self._left_out}"
        )

    def end(self) -> None:
        """Take nothing more: a connection that was given up may still notify."""
        self._ended = True
