"""How often what was told came true here, and how much wider the next ranges must be for it.

Theory of operation. Each observation has a pull: how many standard deviations it came late, by what
was expected before it was seen. If the spreads told are right, 8 in 10 pulls lie within 1.28. The spread
is itself uncertain: it counts as if it had been right so many times already (``OWN``). Each pull adds its
square, at most that of ``TAIL``, for past it a wrong hour is likelier than such a lot. So what contradicts
widens, however far off it is, and a good score never narrows.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

from msgspec.structs import replace

from curewatch.materials.resin import Covariance, Resin

WITHIN = 1.2816  # standard deviations that hold 8 in 10
OWN = 6.0  # observations that the spread told beforehand is worth (assumed)
TAIL = 3.0  # standard deviations past which a pull adds no more (assumed)


class Deviation(NamedTuple):
    """One observation against what was told of it."""

    observed: str  # gelled, tack-free, …
    pull: float  # standard deviations that it came late, of the range before any widening [1]


class Score(NamedTuple):
    """What became of the ranges told for one thing that can be seen."""

    observed: str
    told: int
    within: int
    early: int
    late: int


def widening(pulls: Iterable[float]) -> float:
    """By what factor spreads are told wider, for what was seen so far; 1 or more. [1]"""
    squares = [min(abs(pull), TAIL) ** 2 for pull in pulls]
    return max(1.0, math.sqrt((OWN + sum(squares)) / (OWN + len(squares))))


def widened(resin: Resin, factor: float) -> Resin:
    """The same with all that is not known of it so many times as wide. [1]"""
    keys, matrix = resin.covariance.keys, resin.covariance.matrix
    wide = tuple(tuple(factor**2 * value for value in row) for row in matrix)
    return replace(resin, rate_sd=factor * resin.rate_sd, covariance=Covariance(keys, wide))


def scored(pulls: Iterable[Deviation]) -> tuple[Score, ...]:
    """The score of each thing seen, each judged by the range as wide as it was told then; in order of time.

    What was seen again and again is one row; rows come in the order in which they were first seen.
    """
    rows: dict[str, list[int]] = {}
    before: list[float] = []
    for each in pulls:
        edge = WITHIN * widening(before)
        place = 0 if abs(each.pull) <= edge else 1 if each.pull < 0.0 else 2
        rows.setdefault(each.observed, [0, 0, 0])[place] += 1
        before.append(each.pull)
    return tuple(Score(observed, sum(counts), *counts) for observed, counts in rows.items())
