"""The person's own bond tests: equal tabs on the same face, broken by hand, two ways of laying compared.

Theory of operation
-------------------
Tabs are broken in an order drawn by lot, so that neither the weather nor a tiring hand favours one way. The
load is whatever the person reads (a scale, water in a bucket) at the same lever arm. Two ways are compared by
the ratio of their geometric means. How sure that is comes from the exact permutation test: in what share of
all ways to share the loads out would the ratio be as far from 1? How large it is comes from the bootstrap.

Source
------
Fisher's exact permutation test, as SciPy has it; the percentile bootstrap. Three tabs of each way at least:
with fewer no order of the loads can be rarer than one in ten (counted in the tests).
"""

import random
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.units import FloatArray

FEWEST, MOST = 3, 20  # tabs of each way
SURE = 0.1  # two-sided share of all orders from which two ways are told apart (three of each reach it)
HELD = 0.8  # of the bootstrap between its ends: 8 in 10
DRAWS = 9999
SEED = 1


class Pull(StrEnum):
    """How a tab is loaded."""

    PEEL = "peel"
    SHEAR = "shear"


class Broke(StrEnum):
    """Where it broke."""

    FACE = "face"  # between laminate and what it was laid on
    LAMINATE = "laminate"
    TIMBER = "timber"  # in what it was laid on


class Tab(Struct, frozen=True):
    """One tab as it broke."""

    number: int
    way: str  # how it was laid: a resin, or a resin and what came first
    load: float  # as read; the same unit for all of a test
    broke: Broke


class Compared(NamedTuple):
    """Two ways of laying."""

    stronger: str
    weaker: str
    ratio: float  # of geometric means, at least 1
    low: float  # 8 in 10 lie between low and high
    high: float
    share: float  # of all orders in which the ratio is as far from 1
    tabs: int
    elsewhere: int  # tabs of the stronger way that broke elsewhere than in the face: it holds at least that

    @property
    def told_apart(self) -> bool:
        """Whether the tabs tell the two ways apart."""
        return self.share <= SURE


def order(ways: Sequence[str], each: int, seed: int) -> tuple[str, ...]:
    """The ways in the order in which their tabs are to be broken, drawn by lot.

    Raises
    ------
    UsageError
        Not two different ways, or too few or too many tabs of each.
    """
    if len(set(ways)) != len(ways) or len(ways) < 2:
        raise UsageError(f"ways: found {', '.join(ways) or 'none'}. Use two different ones")
    if not FEWEST <= each <= MOST:
        raise UsageError(f"tabs of each way: found {each}. Use {FEWEST} to {MOST}")
    drawn = [way for way in ways for _ in range(each)]
    random.Random(seed).shuffle(drawn)  # noqa: S311 - an order of work, no secret
    return tuple(drawn)


def compared(tabs: Sequence[Tab], one: str, other: str) -> Compared | None:
    """Two ways by their broken tabs; none before three of each are broken.

    Raises
    ------
    UsageError
        A load that is not above 0.
    """
    import numpy as np

    if any(not tab.load > 0 for tab in tabs):
        raise UsageError("load: found 0 or less. Use the load at which the tab broke")
    loads = {way: np.log([tab.load for tab in tabs if tab.way == way]) for way in (one, other)}
    if min(map(len, loads.values())) < FEWEST:
        return None
    difference = float(loads[one].mean() - loads[other].mean())
    stronger, weaker = (one, other) if difference >= 0 else (other, one)
    low, high = _between(loads[stronger], loads[weaker])
    return Compared(
        stronger,
        weaker,
        float(np.exp(abs(difference))),
        low,
        high,
        _share(loads[one], loads[other]),
        sum(map(len, loads.values())),
        sum(tab.way == stronger and tab.broke is not Broke.FACE for tab in tabs),
    )


def _apart(one: FloatArray, other: FloatArray, axis: int = -1) -> FloatArray:
    import numpy as np

    found: FloatArray = np.mean(one, axis=axis) - np.mean(other, axis=axis)
    return found


def _share(one: FloatArray, other: FloatArray) -> float:
    from scipy.stats import permutation_test

    test = permutation_test(
        (one, other), _apart, vectorized=True, n_resamples=DRAWS, alternative="two-sided", rng=SEED
    )
    return float(test.pvalue)


def _between(stronger: FloatArray, weaker: FloatArray) -> tuple[float, float]:
    """Ends of the ratio, 8 in 10 between them."""
    import numpy as np

    rng = np.random.default_rng(SEED)
    drawn = [rng.choice(each, (DRAWS, len(each))).mean(axis=1) for each in (stronger, weaker)]
    low, high = np.quantile(drawn[0] - drawn[1], [(1 - HELD) / 2, (1 + HELD) / 2])
    return float(np.exp(low)), float(np.exp(high))


def in_words(found: Compared | None, pull: Pull) -> str:
    """What the tabs say, and how sure it is."""
    if found is None:
        return f"In {pull}: break at least {FEWEST} tabs of each way before it says anything."
    if not found.told_apart:
        return f"In {pull}, {found.tabs} tabs did not tell {found.stronger} and {found.weaker} apart."
    least = " at least" if found.elsewhere else ""
    words = (
        f"In {pull}, {found.stronger} held{least} {_times(found.ratio)} as much as {found.weaker}"
        f" (between {found.low:.1f} and {found.high:.1f} times, 8 in 10)."
    )
    return f"{words} {found.tabs} tabs make this sure."


def _times(ratio: float) -> str:
    halves = round(2 * ratio) / 2
    return "about twice" if halves == 2.0 else f"about {halves:g} times"
