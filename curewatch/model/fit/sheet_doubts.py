"""Which statements of a sheet do not follow from the others: a slip of the pen, or a maker's caution.

Theory of operation. Each statement is left out in turn, and the others foretell it, by the slopes at the
fit's solution. Two measures. By the wide priors of what a sheet may describe, a statement that lies beyond
2.9 standard deviations *contradicts*: hardly one honest sheet in a hundred has such. By the archetype's own
narrower priors, one beyond the limit of its kind and direction is *far*: a slip by a factor of two is found
so, and some honest sheets are asked back. A floor (sanding, recoat) that is kept, and the end of a recoat
window, are foretold without foretelling others; that they are cautious is asked back too, in other words.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from curewatch.materials.maker_sheet import Statement, Transition
from curewatch.model.film.lots import REACH
from curewatch.model.fit.sheet_problem import Problem
from curewatch.units import FloatArray

CONTRADICTION = 2.9  # standard deviations from what the others foretell
# The same by the archetype's own priors: how much shorter and how much longer than foretold.
# Chosen on simulated sheets of one seed, judged on others (README.md).
LIMITS: dict[str, tuple[float, float]] = {
    "pot": (1.7, 1.4),
    "working_time": (1.8, 2.0),
    "gel": (2.2, 2.5),
    "tack_free": (1.8, 2.5),
    "recoat_from": (2.2, 3.0),
    "recoat_until": (2.2, 2.5),
    "firm": (1.6, 3.0),
    "glass transition": (1.9, 1.9),
}

Solution = tuple[FloatArray, FloatArray, FloatArray]  # offsets, slopes, covariance


class Contradiction(Struct, frozen=True):
    """Two statements that no resin of this kind can both keep."""

    one: str
    other: str
    expected: tuple[float, float]  # what the other would be if the one holds
    stated: float


class _LeftOut(NamedTuple):
    """Each statement against what the others foretell of it. (statements,)"""

    everything: tuple[Statement | Transition, ...]
    stated: FloatArray  # ln s, K
    told: NDArray[np.bool_]  # whether it foretells others
    middle: FloatArray  # foretold
    sd: FloatArray  # of that
    pull: FloatArray  # standard deviations, of the statement's own spread too
    spread: FloatArray  # of all together, by the priors (statements, statements)
    away: FloatArray  # from what the priors foretell


def _left_out(problems: Sequence[Problem], solution: Solution, share: FloatArray) -> _LeftOut:
    """By the slopes at the solution, with priors so many times as wide as the fit's. (unknowns,)

    Of the first problem's statements those that say something foretell the others; those of any further
    one never do.
    """
    offsets = solution[0]
    values = [each.here(offsets) for each in problems]
    slopes = np.concatenate([each.slopes(offsets) for each in problems])
    stated, sd = (np.concatenate([getattr(each, name) for each in problems]) for name in ("stated", "sd"))
    told = np.zeros(stated.size, dtype=bool)
    told[: values[0].size] = problems[0].told(values[0])
    away = stated - np.concatenate(values) + slopes @ offsets
    spread = (slopes * share) @ (slopes * share).T + np.diag(sd**2)
    middle, left = np.zeros_like(away), np.zeros_like(away)
    for each in range(away.size):
        others = np.flatnonzero(told & (np.arange(away.size) != each))
        gain = np.linalg.solve(spread[np.ix_(others, others)], spread[others, each])
        middle[each] = stated[each] - away[each] + gain @ away[others]
        left[each] = spread[each, each] - gain @ spread[others, each]
    pull = (stated - middle) / np.sqrt(left)
    foretold = np.sqrt(np.maximum(left - sd**2, 0.0))
    everything = tuple(statement for each in problems for statement in each.everything)
    return _LeftOut(everything, stated, told, middle, foretold, pull, spread, away)


def far(problems: Sequence[Problem], solution: Solution) -> dict[int, tuple[float, float]]:
    """Statements far from what the others foretell, by the archetype's own priors: what that would be.

    Of all problems in turn, see :func:`_left_out`. [s, K or 1, as stated]
    """
    share = np.array([each.usual / each.sd for each in problems[0].asked])
    left = _left_out(problems, solution, share)
    if left.told.sum() < 2:
        return {}
    limits = np.array([LIMITS[_kind(each)] for each in left.everything])
    beyond = (left.pull < -limits[:, 0]) | (left.pull > limits[:, 1])
    return {int(each): _edges(left, int(each)) for each in np.flatnonzero(beyond)}


def _kind(statement: Statement | Transition) -> str:
    if isinstance(statement, Transition):
        return "glass transition"
    return statement.mark if statement.mass is None else "pot"


def _edges(left: _LeftOut, each: int) -> tuple[float, float]:
    edges = (left.middle[each] + way * REACH * left.sd[each] for way in (-1.0, 1.0))
    timed = isinstance(left.everything[each], Statement)
    low, high = (math.exp(edge) if timed else float(edge) for edge in edges)
    return low, high


def contradictions(problem: Problem, solution: Solution) -> tuple[Contradiction, ...]:
    """The statement that the others foretell worst, with the one that speaks most against it: at most one."""
    left = _left_out([problem], solution, np.ones(len(problem.asked)))
    pull = np.where(left.told, np.abs(left.pull), 0.0)
    if left.told.sum() < 2 or pull.max() <= CONTRADICTION:
        return ()
    other = int(np.argmax(pull))
    one = _partner(left, other)
    stated = float(left.stated[other])
    if isinstance(left.everything[other], Statement):
        stated = math.exp(stated)
    first, second = (left.everything[each].title for each in (one, other))
    return (Contradiction(first, second, _edges(left, other), stated),)


def _partner(left: _LeftOut, worst: int) -> int:
    """The statement that alone says most against another."""
    given = left.spread[worst] / np.diag(left.spread)
    rest = left.spread[worst, worst] - given * left.spread[worst]
    pull = np.abs(left.away[worst] - given * left.away) / np.sqrt(np.maximum(rest, 1e-12))
    pull[worst] = -1.0
    return int(np.argmax(np.where(left.told, pull, -1.0)))
