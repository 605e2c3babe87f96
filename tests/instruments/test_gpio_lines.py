"""GPIO lines of the host, where there are none: what is told then.

The lab holds relay and lamp to the kernel's (tests/contracts).
"""

from pathlib import Path

import pytest

from hil.core.clock import Clock
from hil.core.errors import InputError
from hil.core.timeline import Timeline
from hil.instruments import gpio_lines
from hil.instruments.line_lamp import GpioLamp
from hil.instruments.power.relay import GpioRelay

pytestmark = pytest.mark.skipif(
    not gpio_lines.HAS_LIBRARY, reason="libgpiod's wheel is for Linux on two kinds of machine"
)


@pytest.fixture(autouse=True)
def nodes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A /dev with one node that is no chip: a file, as far as libgpiod is concerned."""
    (tmp_path / "gpiochip0").touch()
    monkeypatch.setattr(gpio_lines, "NODES", tmp_path)
    return tmp_path


def test_a_label_that_no_chip_bears_is_wrong_input() -> None:
    with pytest.raises(
        InputError, match=r"power\.gpio\.chip = 'pinctrl-bcm2711': no GPIO chip bears .* There are: none"
    ):
        GpioRelay(Timeline(Clock()), "pinctrl-bcm2711", 17)


@pytest.mark.parametrize("name", ["gpiochip0", "gpiochip9"])
def test_a_path_that_is_no_chip_is_wrong_input(nodes: Path, name: str) -> None:
    with pytest.raises(
        InputError, match=rf"bench_lamp\.gpio\.chip = '.*{name}': is no GPIO chip: .* There are: .*gpiochip0"
    ):
        GpioLamp(Timeline(Clock()), str(nodes / name), 17)


def test_without_the_library_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gpio_lines, "HAS_LIBRARY", False)
    with pytest.raises(InputError, match=r"power\.gpio\.line: the library gpiod.* pip install gpiod"):
        GpioRelay(Timeline(Clock()), "/dev/gpiochip0", 17)
