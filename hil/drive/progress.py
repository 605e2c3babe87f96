"""What a run tells those who watch it; written by the run loop, read by the screen."""

import threading
from dataclasses import dataclass, field

from hil.core.verdicts import Verdict


@dataclass
class Progress:
    """The state of a run for display. Guarded by `lock`; readers copy what they show."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    route: list[str] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    leg: str = ""
    leg_title: str = ""
    leg_began_s: float = 0.0
    expected_left_s: float = 0.0
    wanted_checks: int = 0
    verdicts: dict[Verdict, int] = field(default_factory=dict)
    first_failure: str = ""

    def judged(self, verdict: Verdict, text: str) -> None:
        """Count a check; keep the first failure."""
        with self.lock:
            self.verdicts[verdict] = self.verdicts.get(verdict, 0) + 1
            if verdict is Verdict.FAIL and not self.first_failure:
                self.first_failure = text

    def planned(self, steps: list[str], expected_left_s: float) -> None:
        """A new route from here."""
        with self.lock:
            self.route = [*self.done, *steps]
            self.expected_left_s = expected_left_s

    def begins(self, leg: str, title: str, now_s: float) -> None:
        """A leg begins."""
        with self.lock:
            self.leg, self.leg_title, self.leg_began_s = leg, title, now_s

    def ends(self, leg: str) -> None:
        """A leg ended."""
        with self.lock:
            self.done.append(leg)
            self.leg = ""
