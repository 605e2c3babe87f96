"""How much a value changes with each of some counts: a plane through readings by least squares, and the slopes' doubts."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

CONFIDENCE = 0.95
LEAST_APART = 1e-9  # counts nearer to a sum of the others than this share of their length cannot be told from it
MOST_ALIKE = 0.9  # correlation of neighbours that is allowed for at most: of few readings it is hardly known


@dataclass(frozen=True, slots=True)
class Slopes:
    """The change with one more of each count, in the order given, with standard errors.

    `freedom` is the degrees of freedom of the scatter about the plane; `alike` the correlation of neighbouring readings'
    distances from it.
    """

    values: tuple[float, ...]
    standard_errors: tuple[float, ...]
    freedom: int
    alike: float

    @property
    def doubts(self) -> tuple[float, ...]:
        """Half-widths at 95 %, by Student's t; wider where neighbours stray alike, and tell less than so many would.

        That fewer readings count then, (1 - r) / (1 + r) of them, is that of a series of first order (common practice,
        no source).
        """
        from scipy.special import stdtrit  # noqa: PLC0415 - takes a quarter of a second, and few runs fit slopes

        alike = min(max(self.alike, 0.0), MOST_ALIKE)
        wider = float(stdtrit(self.freedom, (1.0 + CONFIDENCE) / 2.0) * np.sqrt((1.0 + alike) / (1.0 - alike)))
        return tuple(wider * error for error in self.standard_errors)


def fit_slopes(counts: Sequence[Sequence[float]], values: Sequence[float], resolution: float = 0.0) -> Slopes | None:
    """Fit values = level + sum of slope x count, by least squares.

    Args:
        counts: For each reading its counts, as many each time.
        values: The readings.
        resolution: The step in which the readings are stated; it adds the scatter of rounding (JCGM 100:2008, F.2.2.1).

    Returns:
        The slopes with their standard errors (JCGM 100:2008, H.3.2, for one count); None where there are too few readings, or
        the counts went along with each other, so that their shares cannot be told apart.
    """
    design, observed = np.asarray(counts, float), np.asarray(values, float)
    if design.ndim != 2 or design.shape[0] < design.shape[1] + 3:
        return None
    freedom = design.shape[0] - design.shape[1] - 1
    centred = design - design.mean(axis=0)
    lengths = np.linalg.norm(centred, axis=0)
    if not np.all(lengths > 0.0):
        return None
    directions, triangle = np.linalg.qr(centred / lengths)
    if np.min(np.abs(np.diag(triangle))) < LEAST_APART:
        return None
    inverse = np.linalg.inv(triangle)
    deviation = observed - observed.mean()
    slopes = inverse @ (directions.T @ deviation)
    strays = deviation - (centred / lengths) @ slopes
    variance = float(strays @ strays) / freedom + resolution**2 / 12.0
    errors = np.sqrt(variance * np.sum(inverse**2, axis=1))
    return Slopes(tuple((slopes / lengths).tolist()), tuple((errors / lengths).tolist()), freedom, _alike(strays))


def _alike(strays: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> float:
    """The correlation of each with the next."""
    square = float(strays @ strays)
    return float(strays[1:] @ strays[:-1]) / square if square > 0.0 else 0.0
