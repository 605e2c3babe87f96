"""What the whole run says of the bench itself, and the version the unit was seen to run."""

from hil.core.text import count
from hil.evidence.lamp import LampView
from hil.evidence.lamp_by_eye import SOURCE, is_by_eye
from hil.evidence.pages import PagesView
from hil.evidence.seen import Seen
from hil.evidence.window import Record, Window
from hil.instruments.camera_settings import in_words


def whole_run(record: Record) -> Window:
    """The window from the first leg's begin to the last one's end."""
    legs = [*record.by_kind.get(("leg", "begins"), ()), *record.by_kind.get(("leg", "ends"), ())]
    times_s = [moment.time_s for moment in legs] or [0.0]
    return Window("whole run", min(times_s), max(times_s), record)


def measured_camera(window: Window) -> str:
    """What the run itself says of the camera: frames, what timed them, its delay in unit seconds, how it was set, what it cannot
    tell.
    """
    if is_by_eye(window.record):
        return f"none: {count(len(window.all(SOURCE, 'shows')), 'key')} pressed by a person who looked at the lamp"
    delay = LampView(window).delay
    told = f"delay {delay.offset_s:.3f} ± {delay.doubt_s:.3f} s by the bench's own lamp" if delay else "delay not told"
    started = next(iter(window.all("camera", "started")), None)
    timed = f" timed by {started.text('timed_by')}" if started is not None and started.text("timed_by") else ""
    return f"{len(window.record.frames())} frames{timed}, {told}{_settings_told(window)}{_place_untold(window)}"


def _settings_told(window: Window) -> str:
    """How a device of this machine was set; nothing of a camera that nobody here can set."""
    told = next(iter(window.all("camera", "settings")), None)
    return f"; {in_words(told.data)}" if told is not None else ""


def _place_untold(window: Window) -> str:
    """Why nobody can say whether the camera stood where it should; empty where somebody can."""
    for kind, when in (("place unknown", "meanwhile"), ("aim unknown", "since it was aimed")):
        for moment in window.all("camera", kind):
            return f"; whether it was moved {when} cannot be told: {moment.text('why')}"
    return ""


def chip_witnessed(window: Window) -> str:
    """Who the chip said it is when the build was put on it, by its maker's own word: family and address."""
    told = next(iter(window.all("flasher", "chip")), None)
    return f"{told.text('chip')}, {told.text('address')}" if told else "not asked"


def version_witnessed(window: Window) -> str:
    """The version that the unit's status page stated."""
    stated = PagesView(window).value("status", window.record.product.status.version)
    return "not seen" if isinstance(stated, Seen) else stated
