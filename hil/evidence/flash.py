"""What the flasher read back: the build that is in the unit."""

from hil.evidence.seen import Seen
from hil.evidence.window import Window


class FlashView:
    """The flasher over a leg."""

    witness = "flasher"

    def __init__(self, window: Window) -> None:
        """Read from a window."""
        self._window = window

    def holds_build(self) -> Seen:
        """Whether what was read back is the build given."""
        checks = self._window.of(self.witness, "verified")
        refused = self._window.of(self.witness, "no loader")
        if refused:
            return Seen(False, f"the chip did not answer in its loader: {refused[0].text('why')}", refused[0].time_s)
        if not checks:
            return Seen.untold(f"{self.witness}: nothing was read back")
        last = checks[-1]
        given = self._window.record.fact("build", "sha256")
        seen = last.text("seen_sha256")
        if not given:
            return Seen.untold(f"{self.witness}: which build was given is not recorded")
        return Seen(seen == given, f"read back {seen[:16]}…, given {given[:16]}…", last.time_s)
