"""From pixels of a status lamp to colour words, changes, flash rate and stage: pure functions on arrays.

In order: `dark_reference`, `read_light`, `colour_words`, `colour_spans`, `stages_over_time`; what is neither steady nor a flash
is found by `breathing`, and put into its place by `with_breathing` and `with_unsteady`; beside them `looks` for a lamp not yet
described, `flash_rate`, `passes_through` for a part of a cycle, and for the camera itself `stamp_scatter`, `frozen_spans`,
`frames_within_changes`, `bench_lamp_delay`, `bench_lamp_seen`, both at once `bench_lamp_watched`, and `awake_windows`.
Wrong input raises ValueError; what the frames do not tell is "unrecognised" or `NotTold`, never the nearest.
"""

from hil.lamp.appearance import Appearance
from hil.lamp.awake import AsleepSpan, frozen_spans
from hil.lamp.bench_lamp import Delay, SwitchSeen, awake_windows, bench_lamp_delay, bench_lamp_seen, bench_lamp_watched
from hil.lamp.colour import COLOURS, OFF, SAME_COLOUR, UNRECOGNISED, colour_word
from hil.lamp.doubt import NotTold, stamp_scatter
from hil.lamp.fade import Breathing, breathing, frames_within_changes, with_breathing, with_unsteady
from hil.lamp.flash import FlashRate, flash_rate
from hil.lamp.learnt import LearntColour, learn_colour
from hil.lamp.light import DarkReference, FrameLight, LampLight, colour_words, dark_reference, read_light
from hil.lamp.looks import Look, looks
from hil.lamp.pattern import passes_through
from hil.lamp.spans import Span, colour_spans
from hil.lamp.stage import DARK, StageSpan, stages_over_time

__all__ = [
    "COLOURS",
    "DARK",
    "OFF",
    "SAME_COLOUR",
    "UNRECOGNISED",
    "Appearance",
    "AsleepSpan",
    "Breathing",
    "DarkReference",
    "Delay",
    "FlashRate",
    "FrameLight",
    "LampLight",
    "LearntColour",
    "Look",
    "NotTold",
    "Span",
    "StageSpan",
    "SwitchSeen",
    "awake_windows",
    "bench_lamp_delay",
    "bench_lamp_seen",
    "bench_lamp_watched",
    "breathing",
    "colour_spans",
    "colour_word",
    "colour_words",
    "dark_reference",
    "flash_rate",
    "frames_within_changes",
    "frozen_spans",
    "learn_colour",
    "looks",
    "passes_through",
    "read_light",
    "stages_over_time",
    "stamp_scatter",
    "with_breathing",
    "with_unsteady",
]
