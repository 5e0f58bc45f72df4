"""Loss on the telemetry link, by sequence numbers: over the session and over the last seconds."""

from __future__ import annotations

from dataclasses import dataclass, field

RECENT_S = 5.0


@dataclass(slots=True)
class Loss:
    """Counts frames received and missed."""

    frames: int = 0
    lost: int = 0
    seconds: list[tuple[int, int, int]] = field(default_factory=list)
    """Whole second of the session, frames and lost in it; the last few seconds only."""

    def received(self, at_s: float, *, late: bool) -> None:
        """Count a good frame; one that was overtaken had been counted as lost."""
        self.frames += 1
        took_back = 1 if late and self.lost else 0
        self.lost -= took_back
        self._count(at_s, 1, -took_back)

    def missed(self, at_s: float, count: int) -> None:
        """Count a gap in the sequence numbers."""
        self.lost += count
        self._count(at_s, 0, count)

    @property
    def ratio(self) -> float | None:
        """Lost frames of all that were sent; None before the first."""
        return _ratio(self.frames, self.lost)

    def recent(self, now_s: float) -> tuple[float | None, float | None]:
        """Return loss ratio and frames per second over the last `RECENT_S`."""
        window = [row for row in self.seconds if row[0] > now_s - RECENT_S - 1]
        frames = sum(row[1] for row in window)
        lost = max(sum(row[2] for row in window), 0)
        if not self.frames:
            return None, None
        begin_s = max(window[0][0] if window else 0, now_s - RECENT_S)
        span_s = now_s - begin_s
        return _ratio(frames, lost), frames / span_s if span_s >= 0.5 else None

    def _count(self, at_s: float, frames: int, lost: int) -> None:
        second = int(at_s)
        if self.seconds and self.seconds[-1][0] == second:
            _, had_frames, had_lost = self.seconds[-1]
            self.seconds[-1] = (second, had_frames + frames, had_lost + lost)
            return
        self.seconds.append((second, frames, lost))
        if len(self.seconds) > RECENT_S + 2:
            del self.seconds[0]


def _ratio(frames: int, lost: int) -> float | None:
    sent = frames + lost
    return lost / sent if sent else None
