from __future__ import annotations

from itertools import islice

from groundstation.errors import SourceError
from groundstation.inbound import LinkState
from groundstation.sources.reconnecting import Backoff, Connection, LinkStory, ReconnectingSource
from tests.groundstation.sources.links import Log, SteppingClock, run


class TestBackoff:
    def test_it_doubles_up_to_the_longest_and_begins_anew(self) -> None:
        backoff = Backoff((0.2, 2.0))
        assert [backoff.next_s() for _ in range(6)] == [0.2, 0.4, 0.8, 1.6, 2.0, 2.0]
        backoff.begin_anew()
        assert backoff.next_s() == 0.2

    def test_none_at_all(self) -> None:
        backoff = Backoff((0.0, 0.0))
        assert [backoff.next_s() for _ in range(3)] == [0.0, 0.0, 0.0]


class TestLinkStory:
    def test_each_reason_is_told_once_until_the_state_changes(self, clock: SteppingClock) -> None:
        story = LinkStory(clock)
        told = [
            *story.failed("missing"),
            *story.failed("missing"),
            *story.failed("busy"),
            *story.failed("missing"),
            *story.connected("here"),
            *story.lost("pulled", "missing"),
            *story.failed("missing"),
            *story.failed("busy"),
        ]
        assert [(change.state.value, change.detail) for change in told] == [
            ("retrying", "missing"),
            ("retrying", "busy"),
            ("connected", "here"),
            ("lost", "pulled"),
            ("retrying", "missing"),
            ("retrying", "busy"),
        ]


class Visit:
    """A connection that gives so many bytes, then hangs up."""

    detail = "visiting"

    def __init__(self, count: int) -> None:
        self._left = count
        self.closed = False

    async def receive(self) -> bytes:
        if not self._left:
            raise SourceError("Hung up", "Wait")
        self._left -= 1
        return b"x"

    async def aclose(self) -> None:
        self.closed = True


class Visited(ReconnectingSource):
    _trying = "Asking again"

    def __init__(self, visits: list[Visit], clock: SteppingClock) -> None:
        super().__init__("visited:", clock=clock, backoff_s=(0.25, 1.0))
        self._visits = iter(visits)

    async def _connect(self) -> Connection:
        for visit in islice(self._visits, 1):
            return visit
        raise SourceError("Nobody comes any more")


def test_a_peer_that_hangs_up_at_once_is_asked_ever_less_often(clock: SteppingClock) -> None:
    async def work() -> None:
        visits = [Visit(0), Visit(0), Visit(0), Visit(0), Visit(1), Visit(0)]
        async with Visited(visits, clock) as source:
            log = Log(source.events())
            await log.until(lambda log: any(change.detail == NOBODY for change in log.changes))
        assert clock.slept_s[:6] == [0.25, 0.5, 1.0, 1.0, 0.25, 0.5]
        assert all(visit.closed for visit in visits)
        kinds = [change.state for change in log.changes]
        assert kinds == [LinkState.CONNECTED, LinkState.LOST, LinkState.RETRYING] * 6 + [
            LinkState.RETRYING
        ]
        assert log.changes[1].detail == "Hung up. Wait."
        assert log.changes[2].detail == "Asking again"

    run(work())


NOBODY = "Nobody comes any more."
