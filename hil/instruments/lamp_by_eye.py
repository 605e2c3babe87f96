"""The unit's lamp by a person's eye, where there is no camera: they press a key each time its look changes.

A key comes after what it tells of: a light must be seen before it is known, a flash for a period or two, and a finger must move.
That is taken to be 0.2 s to 2 s (common practice, no source). Whether they saw all of a leg they say at its end: where they
did not, or say nothing, nobody saw the lamp.
"""

import time
from collections.abc import Mapping

from hil.core.errors import InstrumentGone
from hil.core.timeline import Timeline
from hil.instruments.operator import Answers, Operator

SOURCE = "lamp by eye"
BY_EYE = "none: a person looks at the lamp, and presses a key"
DARK, UNKNOWN = "dark", "unrecognised"
SOONEST_S, LATEST_S = 0.2, 2.0  # from a change to its key
STAGE_KEYS = "123456789"  # more than a product may have stages
DARK_KEY, UNKNOWN_KEY = "0", "x"


class LampByEye:
    """A person who looks at the lamp while a leg is driven."""

    def __init__(
        self, timeline: Timeline, answers: Answers, limit_s: float, slot: str, looks: Mapping[str, str]
    ) -> None:
        """Give them so long for each answer, real seconds; `looks` are the product's stages and how the lamp looks in each."""
        self._timeline, self._slot = timeline, slot
        self._operator = Operator(timeline, answers, limit_s)
        self._shown = dict(zip(STAGE_KEYS, looks, strict=False)) | {DARK_KEY: DARK, UNKNOWN_KEY: UNKNOWN}
        words = {**looks, DARK: "the lamp is dark", UNKNOWN: "anything else"}
        self._legend = "\n".join(f"{key}  {shown}: {words[shown]}" for key, shown in self._shown.items())
        self._looks, self._gone, self._watch = False, False, 0
        answers.on_key = self._pressed

    def begin(self) -> None:
        """Have them look from now on, before a leg, and tell what they see; who did not answer once is asked no more."""
        if self._gone:
            return
        self._timeline.add(SOURCE, "keys", text=self._legend)
        what = f"look at the lamp of the unit in slot {self._slot}, and press the key of what it shows"
        try:
            key = self._operator.choose(what, "".join(self._shown))
        except InstrumentGone as error:
            self._be_gone(error)
            return
        self._looks, self._watch = True, self._watch + 1
        self._pressed(key, time.monotonic())

    def end(self, begin_s: float, end_s: float) -> None:
        """Let them press what they saw last, and say whether they saw all of a leg that began and ended then."""
        if not self._looks:
            return
        self._timeline.clock.pause(LATEST_S)
        self._looks = False
        try:
            whole = self._operator.is_so("did you see the lamp all the time, and press the right key at each change")
        except InstrumentGone as error:
            self._be_gone(error)
            return
        self._timeline.add(SOURCE, "told", watch=self._watch, since_s=begin_s, until_s=end_s, whole=whole)

    def _be_gone(self, error: InstrumentGone) -> None:
        self._looks, self._gone = False, True
        self._timeline.add(SOURCE, "gone", why=error.problem)

    def _pressed(self, key: str, real_s: float) -> None:
        shown = self._shown.get(key)
        if not self._looks or shown is None:
            return
        late_s, doubt_s = (SOONEST_S + LATEST_S) / 2.0, (LATEST_S - SOONEST_S) / 2.0
        time_s = self._timeline.clock.at(real_s) - late_s
        self._timeline.add(SOURCE, "shows", time_s=time_s, doubt_s=doubt_s, watch=self._watch, look=shown)
