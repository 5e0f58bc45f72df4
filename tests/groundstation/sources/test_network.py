from __future__ import annotations

import asyncio
import errno
import socket
import struct
import threading

import pytest

from groundstation.inbound import LinkState
from groundstation.sources import network
from groundstation.sources.address import TcpAddress, UdpAddress
from groundstation.sources.network import TcpSource, UdpSource
from groundstation.sources.network_trouble import connect_trouble, listen_trouble
from tests.groundstation.sources.links import Log, SteppingClock, free_port, run, serving, until

NO_BACKOFF_S = (0.0, 0.0)


def has_ipv6_loopback() -> bool:
    try:
        with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as probe:
            probe.bind(("::1", 0))
    except OSError:
        return False
    return True


def greet(writer: asyncio.StreamWriter) -> None:
    writer.write(b"hello")


async def no_answer(*_: object) -> None:
    await asyncio.get_running_loop().create_future()


needs_ipv6 = pytest.mark.skipif(not has_ipv6_loopback(), reason="no IPv6 loopback here")


class TestTcp:
    def test_refused_is_told_once_and_then_it_connects(self, clock: SteppingClock) -> None:
        async def work() -> None:
            port = free_port(socket.SOCK_STREAM)
            source = TcpSource(TcpAddress("127.0.0.1", port), clock=clock, backoff_s=NO_BACKOFF_S)
            async with source:
                log = Log(source.events())
                await log.until_state(LinkState.RETRYING)
                await until(lambda: len(clock.slept_s) > 20)
                async with serving(greet, port=port):
                    assert await log.until_bytes(5) == b"hello"
                    await source.aclose()
            assert [(change.state.value, change.detail) for change in log.changes] == [
                (
                    "retrying",
                    f"127.0.0.1:{port} refuses the connection. "
                    "Start the sender, or check the number of its port.",
                ),
                ("connected", f"connected to 127.0.0.1:{port}"),
            ]

        run(work())

    @pytest.mark.parametrize(
        ("reset", "reason"),
        [
            (False, "closed the connection. See whether the sender still runs."),
            (True, "Connection reset by peer. Check that"),
        ],
        ids=["hung up", "reset"],
    )
    def test_how_it_was_lost(self, reset: bool, reason: str, clock: SteppingClock) -> None:
        def hang_up(writer: asyncio.StreamWriter) -> None:
            if reset:  # a linger time of zero makes the system send a reset
                linger = struct.pack("ii", 1, 0)
                connected = writer.get_extra_info("socket")
                connected.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
            writer.close()

        async def work() -> None:
            async with (
                serving(hang_up) as port,
                TcpSource(TcpAddress("127.0.0.1", port), clock=clock) as source,
            ):
                log = Log(source.events())
                lost = await log.until_state(LinkState.LOST)
                assert reason in lost.detail
                retrying = await log.until_state(LinkState.RETRYING)
                assert retrying.detail == f"Connecting to 127.0.0.1:{port} again"

        run(work())

    def test_a_peer_that_does_not_answer_is_given_up_after_a_while(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        async def work() -> None:
            monkeypatch.setattr(asyncio.get_running_loop(), "sock_connect", no_answer)
            monkeypatch.setattr(network, "CONNECT_TIMEOUT_S", 0.0)
            async with TcpSource(TcpAddress("192.0.2.1", 5000), clock=clock) as source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            assert retrying.detail.startswith("192.0.2.1:5000 does not answer.")

        run(work())

    def test_closing_while_it_connects(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        connecting: list[socket.socket] = []

        async def connect(sock: socket.socket, peer: object) -> None:
            connecting.append(sock)
            await no_answer()

        async def work() -> None:
            monkeypatch.setattr(asyncio.get_running_loop(), "sock_connect", connect)
            async with TcpSource(TcpAddress("192.0.2.1", 5000), clock=clock) as source:
                source.events()
                await until(lambda: bool(connecting))
            assert connecting[0].fileno() == -1

        run(work())

    def test_a_name_that_no_computer_has(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asked_in_the_loop: list[int] = []

        def not_found(*_: object, flags: int = 0, **__: object) -> None:
            if threading.current_thread() is threading.main_thread():
                asked_in_the_loop.append(flags)
            raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

        async def work() -> None:
            address = TcpAddress("receiver.invalid", 5000)
            async with TcpSource(address, clock=clock) as source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            assert retrying.detail == (
                "No computer named receiver.invalid is found. Check the name, or write its number."
            )

        monkeypatch.setattr(socket, "getaddrinfo", not_found)
        run(work())
        # A look-up may take long; only what needs nobody's answer is asked in the event loop.
        assert asked_in_the_loop == [socket.AI_NUMERICHOST]

    def test_the_addresses_of_a_name_are_tried_in_turn(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        closed = free_port(socket.SOCK_STREAM)

        async def work() -> None:
            async with (
                serving(greet) as listening,
                TcpSource(TcpAddress("receiver", 5000), clock=clock) as source,
            ):
                kind = (socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP, "")
                answers = [(*kind, ("127.0.0.1", closed)), (*kind, ("127.0.0.1", listening))]
                monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: answers)
                log = Log(source.events())
                assert await log.until_bytes(5) == b"hello"
                assert [change.state for change in log.changes] == [LinkState.CONNECTED]

        run(work())

    @needs_ipv6
    def test_over_ipv6(self, clock: SteppingClock) -> None:
        async def work() -> None:
            async with (
                serving(greet, "::1") as port,
                TcpSource(TcpAddress("::1", port), clock=clock) as source,
            ):
                log = Log(source.events())
                assert await log.until_bytes(5) == b"hello"
                assert log.changes[0].detail == f"connected to [::1]:{port}"

        run(work())

    def test_a_silent_peer_is_asked_whether_it_is_still_there(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        async def work() -> None:
            loop = asyncio.get_running_loop()
            real_connect, connected = loop.sock_connect, []

            async def connect(sock: socket.socket, peer: tuple[str, int]) -> None:
                connected.append(sock)
                await real_connect(sock, peer)

            monkeypatch.setattr(loop, "sock_connect", connect)
            async with (
                serving(greet) as port,
                TcpSource(TcpAddress("127.0.0.1", port), clock=clock) as source,
            ):
                await Log(source.events()).until_bytes(5)
                (sock,) = connected
                assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
                if hasattr(socket, "TCP_KEEPIDLE"):
                    assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) == 5

        run(work())

    def test_a_reader_who_stays_away_holds_the_sender_up_and_loses_nothing(
        self, clock: SteppingClock
    ) -> None:
        sent = bytes(range(256)) * 4096 * 16  # far more than all the buffers on the way hold
        sending: list[asyncio.StreamWriter] = []

        def send(writer: asyncio.StreamWriter) -> None:
            sending.append(writer)
            writer.write(sent)

        async def work() -> None:
            async with (
                serving(send) as port,
                TcpSource(TcpAddress("127.0.0.1", port), clock=clock) as source,
            ):
                source._handover._capacity = 8
                log = Log(source.events())
                await until(lambda: source.counters.held_up > 0)
                assert source.counters.waiting == 8
                assert sending[0].transport.get_write_buffer_size() > 0
                await log.until(lambda log: source.counters.received_bytes == len(sent))
                await log.until(lambda log: source.counters.waiting == 0)
                assert log.received == sent

        run(work())


class TestUdp:
    def test_connected_means_listening(self, clock: SteppingClock) -> None:
        async def work() -> None:
            port = free_port(socket.SOCK_DGRAM)
            async with UdpSource(UdpAddress("127.0.0.1", port), clock=clock) as source:
                connected = await Log(source.events()).until_state(LinkState.CONNECTED)
            assert connected.detail == f"listening at 127.0.0.1:{port}"

        run(work())

    def test_a_port_in_use_until_the_other_program_closes_it(self, clock: SteppingClock) -> None:
        async def work() -> None:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
                other.bind(("127.0.0.1", 0))
                port = other.getsockname()[1]
                source = UdpSource(
                    UdpAddress("127.0.0.1", port), clock=clock, backoff_s=NO_BACKOFF_S
                )
                log = Log(source.events())
                retrying = await log.until_state(LinkState.RETRYING)
            assert retrying.detail == (
                f"Port {port} is in use by another program. "
                "Close that program, or let the sender use another port."
            )
            await log.until_state(LinkState.CONNECTED)
            with (
                socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as thief,
                pytest.raises(OSError, match="in use"),
            ):
                thief.bind(("127.0.0.1", port))
            await source.aclose()

        run(work())

    def test_an_address_of_another_computer(self, clock: SteppingClock) -> None:
        async def work() -> None:
            # 192.0.2.0/24 is nobody's (RFC 5737).
            async with UdpSource(UdpAddress("192.0.2.1", 5600), clock=clock) as source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            assert retrying.detail == (
                "192.0.2.1 is no address of this computer. "
                "Write udp://0.0.0.0:5600 to listen at all of them."
            )

        run(work())

    def test_datagrams_come_one_by_one_and_empty_ones_are_nothing(
        self, clock: SteppingClock
    ) -> None:
        largest = bytes(65507)  # the most that UDP over IPv4 carries: 65535 - 20 - 8

        async def work() -> None:
            port = free_port(socket.SOCK_DGRAM)
            async with UdpSource(UdpAddress("127.0.0.1", port), clock=clock) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
                    for datagram in (b"one", b"", b"two", largest):
                        sender.sendto(datagram, ("127.0.0.1", port))
                await log.until_bytes(6 + len(largest))
                received = [getattr(event, "data", None) for event in log.seen[1:]]
                assert received == [b"one", b"two", largest]

        run(work())

    @needs_ipv6
    def test_over_ipv6(self, clock: SteppingClock) -> None:
        async def work() -> None:
            with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as probe:
                probe.bind(("::1", 0))
                port = probe.getsockname()[1]
            async with UdpSource(UdpAddress("::1", port), clock=clock) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as sender:
                    sender.sendto(b"hello", ("::1", port))
                assert await log.until_bytes(5) == b"hello"

        run(work())

    def test_a_failing_network_is_a_loss_and_it_listens_again(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        async def work() -> None:
            loop = asyncio.get_running_loop()
            real_receive, failures = loop.sock_recv, [OSError(errno.ENETDOWN, "x")]

            async def receive(listening: socket.socket, size: int) -> bytes:
                if failures:
                    raise failures.pop()
                return await real_receive(listening, size)

            monkeypatch.setattr(loop, "sock_recv", receive)
            port = free_port(socket.SOCK_DGRAM)
            source = UdpSource(UdpAddress("127.0.0.1", port), clock=clock, backoff_s=NO_BACKOFF_S)
            async with source:
                log = Log(source.events())
                lost = await log.until_state(LinkState.LOST)
                assert lost.detail.startswith(
                    f"Listening at 127.0.0.1:{port} failed: Network is down."
                )
                await log.until_state(LinkState.CONNECTED)

        run(work())


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (ConnectionRefusedError(errno.ECONNREFUSED, "x"), "car:5000 refuses the connection"),
        (TimeoutError(), "car:5000 does not answer"),
        (OSError(errno.ETIMEDOUT, "x"), "car:5000 does not answer"),
        (
            OSError(errno.ENETUNREACH, "x"),
            "car:5000 cannot be reached: Network is unreachable",
        ),
        (OSError(errno.EHOSTUNREACH, "x"), "car:5000 cannot be reached: No route to host"),
        (socket.gaierror(socket.EAI_AGAIN, "x"), "No computer named car is found"),
        (UnicodeError("label too long"), "No computer named car is found"),
    ],
)
def test_why_it_could_not_connect(error: Exception, sentence: str) -> None:
    trouble = connect_trouble(error, "car:5000", "car")
    assert trouble.message == sentence
    assert trouble.hint


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (PermissionError(errno.EACCES, "x"), "This user may not listen at port 5600"),
        (socket.gaierror(socket.EAI_NONAME, "x"), "No computer named car is found"),
        (OSError(errno.EAFNOSUPPORT, "x"), "Listening at car:5600 failed: Address family not"),
    ],
)
def test_why_it_could_not_listen(error: Exception, sentence: str) -> None:
    trouble = listen_trouble(error, "car:5600", UdpAddress("car", 5600))
    assert trouble.message.startswith(sentence)
    assert trouble.hint
