"""How far two who gave words to the same items agree beyond chance: Cohen's kappa.

Two are an instrument and the truth, or two instruments, or one instrument twice. Kappa is 1 where all agree, 0 where they
agree as often as chance would have it, and below 0 where less. It is not defined where one word is all there is.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hil.lamp.doubt import NORMAL_95, NotTold

LEAST_ITEMS = 2
LEAST_SPREAD = 1e-12  # rounding: of the terms below, which are of the size of 1


@dataclass(frozen=True, slots=True)
class CohenKappa:
    """Cohen's kappa, the shares of items agreed on as seen and as by chance, and the count of items.

    `standard_error` and `interval_95` are for many items, and None where their formula gives no spread, as where all agree:
    0 would claim that more items could not have shown otherwise.
    """

    kappa: float
    standard_error: float | None
    interval_95: tuple[float, float] | None
    agreed: float
    agreed_by_chance: float
    items: int


def cohen_kappa(words: Sequence[str], against: Sequence[str]) -> CohenKappa | NotTold:
    """Tell how far one rater's words agree with the truth, or with another rater's; `words` and `against` may be swapped.

    Args:
        words: one word an item, shape (items,), at least 2.
        against: the truth or the other rater, same items in the same order.

    Sources: kappa, J. Cohen, Educational and Psychological Measurement 20 (1960) 37; standard error for a true kappa that
    is not 0, J. L. Fleiss, J. Cohen and B. S. Everitt, Psychological Bulletin 72 (1969) 323. The interval is 1.96 standard
    errors to either side, cut at -1 and 1.

    `NotTold` where both gave the same one word to all items.

    Raises ValueError: fewer than 2 items, lengths differ, an empty word, text in place of a sequence.
    """
    _refuse_no_words(words)
    _refuse_no_words(against)
    if len(words) != len(against):
        raise ValueError(f"{len(words)} words against {len(against)}: give both for the same items.")
    if len(words) < LEAST_ITEMS:
        raise ValueError(f"{len(words)} items: agreement needs at least {LEAST_ITEMS}.")
    kinds = sorted({*words, *against})
    if len(kinds) == 1:
        return NotTold(_only_word(kinds[0]))
    place = {word: at for at, word in enumerate(kinds)}
    counts = np.zeros((len(kinds), len(kinds)))
    for one, other in zip(words, against, strict=True):
        counts[place[one], place[other]] += 1.0
    shares = counts / len(words)
    rows, columns = shares.sum(axis=1), shares.sum(axis=0)
    agreed, by_chance = float(counts.trace()) / len(words), float(rows @ columns)
    kappa = (agreed - by_chance) / (1.0 - by_chance)
    # How much an item in each cell moves kappa, times 1 - by_chance; the paper's A + B - C is the variance of these.
    moves = np.eye(len(kinds)) - (1.0 - kappa) * (columns[:, None] + rows[None, :])
    mean = float((shares * moves).sum())
    spread = math.sqrt(float((shares * (moves - mean) ** 2).sum()))
    error = spread / (1.0 - by_chance) / math.sqrt(len(words)) if spread > LEAST_SPREAD else None
    half = NORMAL_95 * (error or 0.0)
    interval = None if error is None else (max(-1.0, kappa - half), min(1.0, kappa + half))
    return CohenKappa(kappa, error, interval, agreed, by_chance, len(words))


def _refuse_no_words(words: Sequence[str]) -> None:
    if isinstance(words, str):
        raise ValueError(f"{words!r} is one text: give a sequence of words.")
    if not all(words):
        raise ValueError("an item has an empty word: leave the item out, or give what was said a word of its own.")


def _only_word(word: str) -> str:
    return f"{word!r} is the only word given: agreement beyond chance is not defined"
