"""The serial adapter, held against pyserial's own RFC 2217 client and the chip vendor's own reset sequences."""

import asyncio
import contextlib
import queue
import socket
import threading
from collections.abc import Iterator

import pytest
import serial
from esp_pylib.serial_reset import classic_bootloader_reset, hard_reset
from serial import rfc2217

from hil.virtual.board.serial_port import SerialPort, pins_of

LIMIT_S = 10.0

# pyserial 3.5's client still calls methods of threads that Python has renamed.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name)\\(\\) is deprecated:DeprecationWarning")


class Adapter:
    """A serial port served by a thread of this test, with what came to the chip's side."""

    def __init__(self) -> None:
        self.pins: queue.Queue[tuple[bool, bool]] = queue.Queue()
        self.received: queue.Queue[bytes] = queue.Queue()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()
        self._port = SerialPort(self.received.put, lambda enable_low, boot_low: self.pins.put((enable_low, boot_low)))
        self.number = asyncio.run_coroutine_threadsafe(self._port.open(), self._loop).result(LIMIT_S)

    def write(self, data: bytes) -> None:
        """Send as the chip does."""

        async def write() -> None:
            self._port.write(data)

        asyncio.run_coroutine_threadsafe(write(), self._loop).result(LIMIT_S)

    def pins_now(self) -> list[tuple[bool, bool]]:
        """Return the changes of the pins since last asked."""
        changes = []
        with contextlib.suppress(queue.Empty):
            while True:
                changes.append(self.pins.get_nowait())
        return changes

    def receive(self, count: int) -> bytes:
        """Return that many bytes that came to the chip."""
        got = b""
        while len(got) < count:
            got += self.received.get(timeout=LIMIT_S)
        return got

    def close(self) -> None:
        async def close() -> None:
            self._port.close()
            if serving := asyncio.all_tasks() - {asyncio.current_task()}:
                await asyncio.wait(serving, timeout=LIMIT_S)

        asyncio.run_coroutine_threadsafe(close(), self._loop).result(LIMIT_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(LIMIT_S)
        self._loop.close()


@pytest.fixture
def adapter() -> Iterator[Adapter]:
    adapter = Adapter()
    yield adapter
    adapter.close()


def make_client(adapter: Adapter, *, lines: bool) -> serial.Serial:
    """Return pyserial's client, not yet open, that will set both lines so when it opens."""
    client = serial.serial_for_url(f"rfc2217://127.0.0.1:{adapter.number}", do_not_open=True, timeout=LIMIT_S)
    client.dtr = client.rts = lines
    return client


@pytest.fixture
def client(adapter: Adapter) -> Iterator[serial.Serial]:
    client = make_client(adapter, lines=False)
    client.open()
    yield client
    client.close()


def raw_client(adapter: Adapter) -> socket.socket:
    return socket.create_connection(("127.0.0.1", adapter.number), timeout=LIMIT_S)


def read_to_end(connection: socket.socket) -> bytes:
    got = b""
    while data := connection.recv(4096):
        got += data
    return got


def read_until(connection: socket.socket, mark: bytes) -> bytes:
    got = b""
    while mark not in got:
        got += connection.recv(4096)
    return got


@pytest.mark.parametrize(
    ("dtr_level", "rts_level", "enable_level", "boot_level"),
    [(1, 1, 1, 1), (0, 0, 1, 1), (1, 0, 0, 1), (0, 1, 1, 0)],
)
def test_pins_follow_the_vendors_table(dtr_level: int, rts_level: int, enable_level: int, boot_level: int) -> None:
    # The table "Auto program" of the vendor's development boards' schematics, from memory. A line's level is low
    # when it is asserted.
    enable_low, boot_low = pins_of(dtr=not dtr_level, rts=not rts_level)
    assert (int(not enable_low), int(not boot_low)) == (enable_level, boot_level)


def test_opening_with_both_lines_off_moves_no_pin(adapter: Adapter, client: serial.Serial) -> None:
    client.write(b"!")
    assert adapter.receive(1) == b"!"
    assert adapter.pins_now() == []


def test_plain_opening_and_closing_never_resets(adapter: Adapter) -> None:
    client = make_client(adapter, lines=True)
    client.open()
    # DTR comes first and alone for a moment: the boot pin moves, enable does not.
    assert adapter.pins_now() == [(False, True), (False, False)]
    client.close()
    assert adapter.pins_now() == []


def test_every_byte_value_passes_both_ways(adapter: Adapter, client: serial.Serial) -> None:
    # 0xFF must be doubled on the wire: RFC 854, "IAC IAC".
    every = bytes(range(256)) * 40 + b"\xff" * 500 + b"\r\n\x00\r\n"
    adapter.write(every)
    assert client.read(len(every)) == every
    client.write(every)
    assert adapter.receive(len(every)) == every


def test_rts_alone_holds_the_chip_in_reset(adapter: Adapter, client: serial.Serial) -> None:
    client.rts = True
    assert adapter.pins_now() == [(True, False)]
    client.baudrate = 460_800
    client.write(b"line still works")
    assert adapter.receive(16) == b"line still works"
    assert adapter.pins_now() == []
    client.rts = False
    assert adapter.pins_now() == [(False, False)]


def test_the_vendors_hard_reset_starts_the_chip_with_the_boot_pin_high(adapter: Adapter, client: serial.Serial) -> None:
    hard_reset(client)
    assert adapter.pins_now() == [(True, False), (False, False)]


def test_the_vendors_loader_sequence_starts_the_chip_with_the_boot_pin_low(
    adapter: Adapter, client: serial.Serial
) -> None:
    classic_bootloader_reset(client)
    assert adapter.pins_now() == [(True, False), (False, True), (False, False)]


def test_both_lines_asserted_out_of_reset_let_the_chip_start_after_all(adapter: Adapter, client: serial.Serial) -> None:
    client.rts = True
    client.dtr = True
    held, let_go = adapter.pins.get(timeout=LIMIT_S), adapter.pins.get(timeout=LIMIT_S)
    assert (held, let_go) == ((True, False), (False, False))


def test_a_client_that_goes_lets_both_lines_fall(adapter: Adapter) -> None:
    client = make_client(adapter, lines=False)
    client.open()
    client.rts = True
    client.close()
    assert adapter.pins.get(timeout=LIMIT_S) == (True, False)
    assert adapter.pins.get(timeout=LIMIT_S) == (False, False)


def test_settings_are_taken_and_confirmed(client: serial.Serial) -> None:
    # The client raises when the server does not confirm a setting as it was asked for.
    for baud, bits, parity, stop in ((9600, 7, "E", 2), (921_600, 8, "N", 1)):
        client.baudrate, client.bytesize, client.parity, client.stopbits = baud, bits, parity, stop
    client.send_break(0.01)
    assert (client.cts, client.dsr, client.ri, client.cd) == (True, True, False, True)


def test_reopening_works_again_and_again(adapter: Adapter) -> None:
    client = make_client(adapter, lines=False)
    for _ in range(3):
        client.open()
        adapter.write(b"here")
        assert client.read(4) == b"here"
        client.close()
    assert adapter.pins_now() == []


def test_what_is_said_while_nobody_listens_is_lost(adapter: Adapter) -> None:
    adapter.write(b"LOST")
    with raw_client(adapter) as connection:
        read_until(connection, rfc2217.COM_PORT_OPTION)
        adapter.write(b"KEPT")
        assert b"LOST" not in read_until(connection, b"KEPT")


def test_a_second_client_is_told_busy_and_the_first_goes_on(adapter: Adapter, client: serial.Serial) -> None:
    with raw_client(adapter) as second:
        assert read_to_end(second).startswith(b"busy")
    client.write(b"still here")
    assert adapter.receive(10) == b"still here"


def test_the_port_is_free_as_soon_as_a_client_is_gone(adapter: Adapter) -> None:
    for _ in range(20):
        with raw_client(adapter) as connection:
            assert not read_until(connection, rfc2217.COM_PORT_OPTION).startswith(b"busy")


def test_a_malformed_request_costs_only_that_connection(adapter: Adapter) -> None:
    with raw_client(adapter) as connection:
        # The end of a subnegotiation that never began.
        connection.sendall(rfc2217.IAC + rfc2217.SE)
        read_to_end(connection)
    with raw_client(adapter) as connection:
        connection.sendall(b"good")
        assert adapter.receive(4) == b"good"


def test_a_client_that_reads_nothing_does_not_hold_the_chip_up(adapter: Adapter) -> None:
    with raw_client(adapter) as connection:
        read_until(connection, rfc2217.COM_PORT_OPTION)
        for _ in range(400):
            adapter.write(bytes(65536))
        adapter.write(b"over")
        connection.shutdown(socket.SHUT_WR)
        assert len(read_to_end(connection)) < 400 * 65536
