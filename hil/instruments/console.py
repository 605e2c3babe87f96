"""The console: what the unit prints, byte for byte, and the two control lines of its port.

A reader thread loses nothing: every byte goes to `console.raw` before it is split into lines. What the unit says is a
claim; only the starts (the chip's own banner) and the silence or speech of the port are used beyond that. Opening the
port is booked: a port may reset the unit when it is opened.
"""

import errno
import re
import threading
import time
from contextlib import suppress
from io import FileIO
from math import inf
from pathlib import Path

import serial

from hil.core.errors import BenchError, InputError, InstrumentGone
from hil.core.moments import Json, Moment
from hil.core.timeline import Timeline
from hil.instruments.serial_ports import path_of

LINE_LIMIT = 4096  # bytes of a line that become one moment; a longer one is told in pieces
LINES_A_SECOND = 200  # of real time; above it, or above so many bytes, lines are counted, not told one by one
BYTES_A_SECOND = 100_000
CHUNK_LIMIT = 64 << 10  # bytes taken at once
RAW_LIMIT = 64 << 20  # bytes kept of a unit that prints for ever
RESET_REAL_S = 0.1  # how long the reset line is held; the usual circuit needs some milliseconds
POLL_REAL_S = 0.05
BACK_REAL_S = 0.2  # between two looks for a port that was lost
KEY = "console.port"
LISTENS_EVERY_S = 0.5  # unit seconds; how often the reader tells that it is at the port


class Console:
    """One serial port: a device path, any pyserial URL, or an adapter by what it is known by (`serial_ports`)."""

    def __init__(
        self,
        port: str,
        timeline: Timeline,
        raw_file: Path,
        *,
        baud: int = 115200,
        rom_baud: int | None = None,
        rom_speaks_s: float = 0.3,
    ) -> None:
        """Name the port; nothing is opened yet.

        Where the chip's ROM speaks at another rate than the program, the port listens at `rom_baud` for `rom_speaks_s`
        after each start the bench gives it, by power or by the reset line.
        """
        self.port = port
        self._timeline = timeline
        self._raw_file = raw_file
        self._baud, self._rom_baud = baud, rom_baud
        self._rom_speaks_s, self._rom_until_s = rom_speaks_s, -inf
        if rom_baud is not None:
            timeline.listen(self._expect_rom)
        self._serial: serial.Serial | None = None
        self._is_lost = self._holds = False
        self._in_hand = threading.RLock()  # whoever opens or closes the port, or moves its reset line
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._rate = _Rate()
        self._listened_s = -inf
        self._flooded_until_s = 0.0
        self._kept = raw_file.stat().st_size if raw_file.exists() else 0

    def open(self) -> None:
        """Open the port with both lines released, and read from now on.

        Raises:
            InputError: no such port.
            BenchError: the port is there but busy or broken.
        """
        if self._thread is not None:
            return
        with self._in_hand:
            port = self._serial or open_port(self.port, self._baud)
            try:
                raw = self._raw_file.open("ab", buffering=0)
            except OSError as error:
                port.close()
                raise BenchError(f"console {self.port}", f"{self._raw_file} cannot be written: {error}.") from error
            self._take(port)
        self._stop.clear()
        self._thread = threading.Thread(target=self._listen, args=(port, raw), name="console", daemon=True)
        self._thread.start()

    def _take(self, port: serial.Serial) -> None:
        self._serial, self._is_lost = port, False
        self._timeline.add("console", "opened", port=self.port, baud=self._baud, listens_every_s=LISTENS_EVERY_S)

    def close(self) -> None:
        """Stop reading and free the port, for the flasher or for good."""
        if self._thread is None:
            return
        self._stop.set()
        self._thread.join(timeout=2.0)
        self._thread = None
        if not self._holds or self._is_lost:
            self._free()
        self._timeline.add("console", "closed", port=self.port)

    def _free(self) -> None:
        with self._in_hand:
            if self._serial is not None:
                self._serial.close()
            self._serial, self._is_lost = None, False

    def hold_reset(self, held: bool) -> None:
        """Hold the unit in reset, or let it go. The port is kept for that, also while nobody listens.

        Raises:
            InputError: no such port.
            BenchError: it is busy, or was lost.
        """
        with self._in_hand:
            self._holds = held
            if held and self._serial is None:
                self._serial = open_port(self.port, self._baud)
            if self._serial is not None:
                self._pull_reset(self._serial)
            if not held and self._thread is None:
                self._free()

    def holds_reset(self) -> bool:
        """Whether the unit is held in reset, by what the line was told.

        Raises:
            InstrumentGone: the port is.
        """
        with self._in_hand:
            if self._serial is not None:
                try:
                    _ = self._serial.cts  # which a port that is gone cannot tell
                except (serial.SerialException, OSError) as error:
                    raise InstrumentGone(
                        f"console {self.port}", f"cannot be read: {error}.", "Check the cable."
                    ) from error
            return self._holds and self._serial is not None

    def _pull_reset(self, port: serial.Serial) -> None:
        try:
            port.rts = self._holds
        except (serial.SerialException, OSError) as error:
            raise InstrumentGone(
                f"console {self.port}", f"its reset line failed: {error}.", "Check the cable."
            ) from error

    def reset(self, asked_by: str) -> None:
        """Pulse the reset line; books `reset line` as it is pulled, and `reset line released`.

        Raises:
            BenchError: the port is closed or broke.
        """
        if self._serial is None or self._is_lost:
            state = "lost" if self._is_lost else "closed"
            raise BenchError(f"console {self.port}", f"its reset line was asked for while the port is {state}.")
        try:
            self._timeline.add("console", "reset line", asked_by=asked_by)
            self._serial.rts = True
            self._stop.wait(RESET_REAL_S)
            begun_s = time.monotonic()
            self._serial.rts = False
            self._book_release(begun_s)
        except (serial.SerialException, OSError) as error:
            raise BenchError(f"console {self.port}", f"its reset line failed: {error}.", "Check the cable.") from error

    def _book_release(self, begun_monotonic_s: float) -> None:
        """Book that the reset line was let go, and the unit starts: the middle of that order, give or take half of it."""
        clock, ended_s = self._timeline.clock, time.monotonic()
        time_s, doubt_s = (
            clock.at((begun_monotonic_s + ended_s) / 2.0),
            clock.unit_s((ended_s - begun_monotonic_s) / 2.0),
        )
        self._timeline.add("console", "reset line released", time_s=time_s, doubt_s=doubt_s)

    def _listen(self, port: serial.Serial, raw: FileIO) -> None:
        """Read until the end; a port that is lost is opened again as soon as it is back."""
        with raw:
            self._read(port, raw)
            while not self._stop.wait(BACK_REAL_S):
                with suppress(InputError, BenchError):
                    with self._in_hand:
                        back = open_port(self.port, self._baud)
                        if self._stop.is_set():
                            back.close()
                            return
                        port.close()
                        self._take(back)
                    port = back
                    if self._holds:
                        self._pull_reset(port)
                    self._read(port, raw)

    def _read(self, port: serial.Serial, raw: FileIO) -> None:
        rest, read_s = b"", 0.0
        while not self._stop.is_set():
            try:
                self._follow_rate(port)
                chunk = _read_chunk(port)
                read_s = self._timeline.clock.now_s()
            except (serial.SerialException, OSError) as error:
                if not self._stop.is_set():
                    self._is_lost = True
                    self._timeline.add("console", "lost", why=str(error))
                break
            self._tell_listening()
            self._keep(raw, chunk)
            *lines, rest = (rest + chunk).split(b"\n")
            for line in lines:
                self._tell(line, read_s)
            if len(rest) > LINE_LIMIT:  # a unit that never ends its line
                rest = self._tell_pieces(rest, read_s)
        if rest:
            self._tell(rest, read_s)

    def _expect_rom(self, moment: Moment) -> None:
        if moment.is_("power", "on") or moment.is_("console", "reset line"):
            self._rom_until_s = moment.time_s + self._rom_speaks_s

    def _follow_rate(self, port: serial.Serial) -> None:
        rom_speaks = self._timeline.clock.now_s() < self._rom_until_s
        rate = self._rom_baud if rom_speaks and self._rom_baud else self._baud
        if port.baudrate != rate:
            port.baudrate = rate

    def _tell_listening(self) -> None:
        """Book, not too often, that the port was read without an error: the control of this witness."""
        now_s = self._timeline.clock.now_s()
        if now_s - self._listened_s >= LISTENS_EVERY_S:
            self._listened_s = now_s
            self._timeline.add("console", "listening")

    def _keep(self, raw: FileIO, chunk: bytes) -> None:
        if not chunk or self._timeline.trouble is not None:
            return
        room = RAW_LIMIT - self._kept
        try:
            raw.write(chunk[: max(room, 0)])
        except OSError as error:
            self._timeline.trouble = f"the run folder takes no more: {error}"
        self._kept += len(chunk)
        if room >= 0 > room - len(chunk):
            self._timeline.add("console", "overrun", kept=RAW_LIMIT)

    def _tell(self, line: bytes, read_s: float) -> None:
        self._add(self._tell_pieces(line, read_s), read_s, cut=False)

    def _tell_pieces(self, line: bytes, read_s: float) -> bytes:
        """Tell what a line has above the limit; returns its end."""
        while len(line) > LINE_LIMIT:
            self._add(line[:LINE_LIMIT], read_s, cut=True)
            line = line[LINE_LIMIT:]
        return line

    def _add(self, said: bytes, read_s: float, *, cut: bool) -> None:
        """Add a line, or a piece of one that goes on, unless there are too many."""
        flooded = self._rate.suppressed
        if not self._rate.allows(len(said)):
            self._flooded_until_s = read_s
            if not flooded:
                self._timeline.add("console", "flood", time_s=self._flooded_until_s)
            return
        if flooded:
            self._timeline.add("console", "flood over", time_s=self._flooded_until_s, lines=flooded)
            self._rate.suppressed = 0
        text = said.rstrip(b"\r").decode("utf-8", errors="backslashreplace")
        doubt_s = self._timeline.clock.unit_s(POLL_REAL_S / 5.0)
        details: dict[str, Json] = {"text": text} | ({"cut": True} if cut else {})
        self._timeline.add("console", "line", time_s=read_s, doubt_s=doubt_s, details=details)


def _read_chunk(port: serial.Serial) -> bytes:
    """Wait for a byte, and take along what is there by then."""
    chunk: bytes = port.read(1)
    if chunk:
        # One that was lost just now says so at the next reading, and this byte is kept.
        with suppress(serial.SerialException, OSError):
            chunk += port.read(min(port.in_waiting, CHUNK_LIMIT))
    return chunk


class _Rate:
    """Lets so many lines and bytes a second through, and counts the lines above."""

    def __init__(self) -> None:
        self.suppressed = 0
        self._second = 0
        self._lines = self._bytes = 0

    def allows(self, count: int) -> bool:
        second = int(time.monotonic())
        if second != self._second:
            self._second, self._lines, self._bytes = second, 0, 0
        self._lines += 1
        self._bytes += count
        if self._lines > LINES_A_SECOND or self._bytes > BYTES_A_SECOND:
            self.suppressed += 1
            return False
        return True


def open_port(port: str, baud: int, *, key: str = KEY) -> serial.Serial:
    """Open a serial port with both control lines released; `key` is where the bench file names it.

    Raises:
        InputError: no such port, or not the name of one.
        BenchError: it is busy or broken.
    """
    remedy = f"Correct {key} in the bench file, or plug it in."
    port = path_of(port, key)
    try:
        handle = serial.serial_for_url(port, do_not_open=True, baudrate=baud, timeout=POLL_REAL_S)
        handle.dtr = False
        handle.rts = False
        if "://" in port:
            handle.open()
        else:
            _open_local(handle)
    except ValueError as error:
        raise InputError(f"bench file: {key} = {port!r}", f"not a port: {error}.", remedy) from error
    except (serial.SerialException, OSError) as error:
        missing = re.search(r"No such file|could not resolve|FileNotFound|Inappropriate ioctl", str(error))
        if missing:
            raise InputError(f"bench file: {key} = {port!r}", "there is no such port.", remedy) from error
        why = re.sub(r"Remote does not seem.*", "it does not answer as an RFC 2217 port does", str(error))
        raise BenchError(
            f"{key.partition('.')[0].replace('_', ' ')} {port}",
            f"cannot be opened: {why}.",
            "Is another program (or run) using it?",
        ) from error
    return handle


def _open_local(handle: serial.Serial) -> None:
    """Open a port of this machine, whose kernel raises both lines as it is opened, and let go of them in the harmless order.

    RTS alone holds the usual circuit of two transistors in reset; DTR alone only asks a chip that starts for its loader. The
    library lets go of DTR first, unless it is told that DTR is not its own.
    """
    handle.exclusive = True  # else two programs would share what the unit says
    handle.dsrdtr = True
    handle.open()
    handle.dsrdtr = False
    try:
        handle.dtr = False
    except OSError as error:
        if error.errno not in (errno.ENOTTY, errno.EINVAL):  # a pseudo-terminal has no lines to let go of
            raise
