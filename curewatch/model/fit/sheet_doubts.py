"""Which statements of a sheet do not follow from the others: a slip of the pen, or a maker's caution.

Theory of operation. Each statement is left out in turn, and the others foretell it, by the slopes at the
fit's solution. Two measures. By the wide priors of what a sheet may describe, a statement that lies beyond
2.9 standard deviations *contradicts*: hardly one honest sheet in a hundred has such. By the archetype's own
narrower priors, one beyond 1.9 is *far*: a slip by a factor of two is found so, and some honest sheets are
asked back. A floor (sanding, recoat) speaks only where it is too soon.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curewatch.materials.maker_sheet import Statement
from curewatch.model.film.lots import REACH
from curewatch.model.fit.sheet_problem import Problem
from curewatch.units import FloatArray

CONTRADICTION = 2.9  # standard deviations from what the others foretell
FAR = 1.9  # the same by the archetype's own priors

Solution = tuple[FloatArray, FloatArray, FloatArray]  # offsets, slopes, covariance


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two statements that no resin of this kind can both keep."""

    one: str
    other: str
    expected: tuple[float, float]  # what the other would be if the one holds
    stated: float


class _LeftOut(NamedTuple):
    """Each statement that says something, against what the others foretell of it."""

    place: NDArray[np.intp]  # among all (told,)
    pull: FloatArray  # standard deviations (told,)
    middle: FloatArray  # foretold (told,)
    sd: FloatArray  # of that (told,)
    spread: FloatArray  # of all together, by the priors (told, told)
    away: FloatArray  # from what the priors foretell (told,)


def _left_out(problem: Problem, solution: Solution, share: FloatArray) -> _LeftOut:
    """By the slopes at the solution, with priors so many times as wide as the fit's. (unknowns,)"""
    offsets, slopes, _ = solution
    values = problem.here(offsets)
    told = np.flatnonzero(problem.told(values))
    slopes, sd, stated = slopes[told], problem.sd[told], problem.stated[told]
    away = stated - values[told] + slopes @ offsets
    spread = (slopes * share) @ (slopes * share).T + np.diag(sd**2)
    inverse = np.linalg.inv(spread)
    left, unlike = 1.0 / np.diag(inverse), inverse @ away
    foretold = np.sqrt(np.maximum(left - sd**2, 0.0))
    return _LeftOut(told, unlike * np.sqrt(left), stated - unlike * left, foretold, spread, away)


def far(problem: Problem, solution: Solution) -> dict[int, tuple[float, float]]:
    """Statements far from what the others foretell, by the archetype's own priors: what that would be.

    [s, K or 1, as stated]
    """
    share = np.array([each.usual / each.sd for each in problem.asked])
    left = _left_out(problem, solution, share)
    return {
        int(left.place[each]): _edges(problem, left, int(each))
        for each in np.flatnonzero(np.abs(left.pull) > FAR)
        if left.place.size > 1
    }


def _edges(problem: Problem, left: _LeftOut, each: int) -> tuple[float, float]:
    edges = (left.middle[each] + way * REACH * left.sd[each] for way in (-1.0, 1.0))
    timed = isinstance(problem.everything[left.place[each]], Statement)
    low, high = (math.exp(edge) if timed else float(edge) for edge in edges)
    return low, high


def contradictions(problem: Problem, solution: Solution) -> tuple[Contradiction, ...]:
    """The statement that the others foretell worst, with the one that speaks most against it: at most one."""
    left = _left_out(problem, solution, np.ones(len(problem.asked)))
    if left.place.size < 2 or np.abs(left.pull).max() <= CONTRADICTION:
        return ()
    worst = int(np.argmax(np.abs(left.pull)))
    one, other = (left.place[each] for each in (_partner(left.spread, left.away, worst), worst))
    stated = float(problem.stated[other])
    if isinstance(problem.everything[other], Statement):
        stated = math.exp(stated)
    first, second = (problem.everything[each].title for each in (one, other))
    return (Contradiction(first, second, _edges(problem, left, worst), stated),)


def _partner(spread: FloatArray, away: FloatArray, worst: int) -> int:
    """The statement that alone says most against another."""
    given = spread[worst] / np.diag(spread)
    left = np.diag(spread)[worst] - given * spread[worst]
    pull = np.abs(away[worst] - given * away) / np.sqrt(np.maximum(left, 1e-12))
    pull[worst] = -1.0
    return int(np.argmax(pull))
