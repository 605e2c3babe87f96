"""A line of a GPIO chip of this host (a header of a single-board computer, or an adapter that has some), through libgpiod.

Volts of such a line are the chip's: a line drives the input of a relay board or a transistor, never a coil. What it is while no
program holds it is up to the chip: the board on it must then leave the supply off.
"""

import errno
import threading
from pathlib import Path

from hil.core.errors import BenchError, InputError, InstrumentGone

try:
    import gpiod
    from gpiod.line import Direction, Value
except ImportError:  # there is no such library for this kind of machine
    HAS_LIBRARY = False
else:
    HAS_LIBRARY = True

NODES = Path("/dev")
US = "hil"  # as whose the kernel names a line that is held
LOOK = "Look at the chip's cable, or at its driver in the kernel's log."


class GpioLine:
    """One line, held from its making to `close`. Active is high; low, where it is `inverted`."""

    def __init__(
        self, chip: str, line: int | str, key: str, name: str, *, drives: bool, inverted: bool = False
    ) -> None:
        """Take the line; one that is driven begins inactive.

        Args:
            chip: Its path (`/dev/gpiochip0`) or label (`pinctrl-bcm2711`).
            line: Its number on that chip, or its name.
            key: The bench file's for this line, such as `power.gpio.line`; that of its chip is beside it.
            name: Whose line it is, for errors.
            drives: Whether it is an output.
            inverted: Whether it is active while it is low.

        Raises:
            InputError: no such chip or line, or the library is missing.
            BenchError: another holds it, or this process may not.
        """
        self._name, self._lock = name, threading.Lock()
        if not HAS_LIBRARY:
            remedy = "On Linux: pip install gpiod; elsewhere take an adapter's line."
            raise InputError(f"bench file: {key}", "the library gpiod, which drives GPIO lines, is not there.", remedy)
        where = f"bench file: {key.rpartition('.')[0]}.chip = {chip!r}"
        with _opened(Path(chip) if chip.startswith("/") else _path_of(chip, where), where) as opened:
            told = opened.get_info()
            try:
                self._offset = opened.line_offset_from_id(line)
            except (OSError, ValueError) as error:
                remedy = f"They are 0 to {told.num_lines - 1}, or by name: {_names(opened)}."
                raise InputError(f"bench file: {key} = {line!r}", f"{told.label} has no such line.", remedy) from error
            settings = gpiod.LineSettings(
                direction=Direction.OUTPUT if drives else Direction.INPUT,
                active_low=inverted,
                output_value=Value.INACTIVE,
            )
            try:
                self._held = opened.request_lines({self._offset: settings}, consumer=US)
            except OSError as error:
                held_by = opened.get_line_info(self._offset).consumer
                why = f"{held_by} holds it" if error.errno == errno.EBUSY and held_by else str(error)
                raise BenchError(
                    name, f"line {line} of {told.label} cannot be had: {why}.", "Name a free one."
                ) from error

    def drive(self, active: bool) -> None:
        """Make it active, or not.

        Raises:
            InstrumentGone: its chip is.
        """
        try:
            with self._lock:
                self._held.set_value(self._offset, Value.ACTIVE if active else Value.INACTIVE)
        except OSError as error:
            raise InstrumentGone(self._name, f"cannot be switched: {error}.", LOOK) from error

    def is_active(self) -> bool:
        """Whether it is, by the chip.

        Raises:
            InstrumentGone: the chip is.
        """
        try:
            with self._lock:
                return self._held.get_value(self._offset) == Value.ACTIVE
        except OSError as error:
            raise InstrumentGone(self._name, f"cannot be read: {error}.", LOOK) from error

    def close(self) -> None:
        """Let go of the line."""
        with self._lock:
            self._held.release()


def _path_of(chip: str, where: str) -> Path:
    """The node of the chip that bears a label."""
    labels = {path: label for path in sorted(NODES.glob("gpiochip*")) if (label := _label(path)) is not None}
    found = [path for path, label in labels.items() if label == chip]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(where, f"{', '.join(map(str, found))} bear that label.", "Name one by its path.")
    known = ", ".join(f"{path} ({label})" for path, label in labels.items()) or "none"
    raise InputError(where, "no GPIO chip bears that label.", f"There are: {known}.")


def _label(path: Path) -> str | None:
    """What a chip says that it is; nothing where it cannot be asked."""
    try:
        with gpiod.Chip(str(path)) as chip:
            return chip.get_info().label
    except OSError:
        return None


def _opened(path: Path, where: str) -> "gpiod.Chip":
    try:
        return gpiod.Chip(str(path))
    except PermissionError as error:
        remedy = "Add yourself to its group (gpio on most), or run as root."
        raise BenchError(f"GPIO chip {path}", f"may not be opened: {error}.", remedy) from error
    except OSError as error:
        known = ", ".join(map(str, sorted(NODES.glob("gpiochip*")))) or "none"
        raise InputError(where, f"is no GPIO chip: {error}.", f"There are: {known}.") from error


def _names(chip: "gpiod.Chip") -> str:
    named = [told.name for at in range(chip.get_info().num_lines) if (told := chip.get_line_info(at)).name]
    return ", ".join(named) or "it names none"
