"""The person's own bond tests: an order by lot, an exact test, an answer in words with its uncertainty."""

from itertools import combinations
from math import exp, log

import numpy as np
import pytest

from curewatch.advice.choose.tabs import FEWEST, SURE, Broke, Pull, Tab, compared, in_words, order
from curewatch.errors import UsageError

EPOXY, PRIMED = "epoxy-slow", "polyester-laminating on primer"


def broken(loads: dict[str, list[float]], broke: Broke = Broke.FACE) -> list[Tab]:
    pairs = [(way, load) for way, several in loads.items() for load in several]
    return [Tab(number, way, load, broke) for number, (way, load) in enumerate(pairs, start=1)]


def counted(one: list[float], other: list[float]) -> float:
    """The two-sided share of all ways to share the loads out, counted here one by one."""
    every, found = one + other, 0
    apart = abs(np.mean(np.log(one)) - np.mean(np.log(other)))
    for taken in combinations(range(len(every)), len(one)):
        mine = [log(every[n]) for n in taken]
        rest = [log(every[n]) for n in range(len(every)) if n not in taken]
        found += abs(np.mean(mine) - np.mean(rest)) >= apart - 1e-12
    return found / len(list(combinations(range(len(every)), len(one))))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ([20.0, 22.0, 19.0], [10.0, 11.0, 9.5]),
        ([20.0, 12.0, 15.0], [14.0, 11.0, 16.0]),
        ([5.0, 6.0, 7.0, 8.0], [5.5, 6.5, 9.0]),
    ],
)
def test_the_share_is_that_of_every_order(one: list[float], other: list[float]) -> None:
    """Against a count of all ways to share the loads out."""
    found = compared(broken({EPOXY: one, PRIMED: other}), EPOXY, PRIMED)
    assert found is not None
    assert found.share == pytest.approx(counted(one, other), abs=1e-9)


def test_three_of_each_are_the_fewest_that_can_be_sure() -> None:
    """Wholly apart, three of each are one in ten by two sides; two of each one in three."""
    assert counted([4.0, 5.0, 6.0], [1.0, 2.0, 3.0]) == pytest.approx(SURE)
    assert counted([4.0, 5.0], [1.0, 2.0]) > SURE
    assert FEWEST == 3
    assert compared(broken({EPOXY: [4.0, 5.0], PRIMED: [1.0, 2.0, 3.0]}), EPOXY, PRIMED) is None


@pytest.mark.long
def test_six_tabs_of_a_resin_that_holds_twice_as_much() -> None:
    """In the words of the trade: about twice as much; in shear not told apart (common practice)."""
    peel = compared(broken({EPOXY: [20.0, 22.0, 19.0], PRIMED: [10.0, 11.0, 9.5]}), EPOXY, PRIMED)
    said = in_words(peel, Pull.PEEL)
    assert said.startswith(f"In peel, {EPOXY} held about twice as much as {PRIMED}")
    assert "6 tabs make this sure" in said
    shear = compared(broken({EPOXY: [50.0, 61.0, 55.0], PRIMED: [57.0, 52.0, 56.0]}), EPOXY, PRIMED)
    assert "did not tell" in in_words(shear, Pull.SHEAR)
    assert "at least 3" in in_words(None, Pull.PEEL)


def test_a_tab_that_broke_in_the_timber_says_at_least() -> None:
    """The bond held more than the timber: the ratio is a lower end."""
    tabs = broken({EPOXY: [20.0, 22.0, 19.0]}, Broke.TIMBER) + broken({PRIMED: [10.0, 11.0, 9.5]})
    assert "at least about twice" in in_words(compared(tabs, EPOXY, PRIMED), Pull.PEEL)


@pytest.mark.long
def test_the_range_holds_the_truth_as_often_as_it_says_or_nearly() -> None:
    """Five of each from a known ratio of 2: the 8 in 10 range holds it in 65 to 90 of 100 tests."""
    rng, held = np.random.default_rng(7), 0
    for _ in range(60):
        one, other = np.exp(rng.normal(log(20), 0.15, 5)), np.exp(rng.normal(log(10), 0.15, 5))
        found = compared(broken({EPOXY: one.tolist(), PRIMED: other.tolist()}), EPOXY, PRIMED)
        assert found is not None
        held += found.low <= 2.0 <= found.high
    assert 39 <= held <= 57


def test_two_equal_ways_are_seldom_told_apart() -> None:
    """With no difference, at most one test in ten says that there is one (plus what chance allows)."""
    rng, told = np.random.default_rng(11), 0
    for _ in range(60):
        loads = {way: np.exp(rng.normal(log(10), 0.2, 3)).tolist() for way in (EPOXY, PRIMED)}
        found = compared(broken(loads), EPOXY, PRIMED)
        told += found is not None and found.told_apart
    assert told <= 12


def test_the_order_is_drawn_by_lot_and_whole() -> None:
    """Each way as often as asked; another lot gives another order."""
    drawn = {order((EPOXY, PRIMED), 3, seed) for seed in range(20)}
    assert all(sorted(each) == sorted([EPOXY, PRIMED] * 3) for each in drawn)
    assert len(drawn) > 5


@pytest.mark.parametrize(
    ("ways", "each", "said"),
    [((EPOXY,), 3, "two different"), ((EPOXY, EPOXY), 3, "two different"), ((EPOXY, PRIMED), 2, "found 2")],
)
def test_a_test_that_says_nothing_is_not_begun(ways: tuple[str, ...], each: int, said: str) -> None:
    """One way, or too few tabs: refused with what to use."""
    with pytest.raises(UsageError, match=said):
        order(ways, each, 0)


def test_a_load_of_nothing_is_refused() -> None:
    """A tab that held nothing is still broken at some load."""
    with pytest.raises(UsageError, match="load"):
        compared(broken({EPOXY: [0.0, 1.0, 2.0], PRIMED: [1.0, 1.0, exp(1)]}), EPOXY, PRIMED)


def test_the_trades_order_of_peel_and_its_equal_shear() -> None:
    """Common practice, no source: primed holds about three times bare in peel, epoxy twice primed."""
    bare, primed = "polyester-laminating", PRIMED
    loads = {EPOXY: [21.0, 19.0, 20.0], primed: [10.0, 10.5, 9.7], bare: [3.3, 3.4, 3.2]}
    tabs = broken(loads)
    over_bare, over_primed = compared(tabs, primed, bare), compared(tabs, EPOXY, primed)
    assert over_bare is not None
    assert over_primed is not None
    assert (over_primed.stronger, over_bare.stronger) == (EPOXY, primed)
    assert "about 3 times" in in_words(over_bare, Pull.PEEL)
    assert "about twice" in in_words(over_primed, Pull.PEEL)
    shear = broken({EPOXY: [50.0, 61.0, 55.0], primed: [57.0, 52.0, 56.0], bare: [54.0, 58.0, 53.0]})
    for one, other in combinations((EPOXY, primed, bare), 2):
        found = compared(shear, one, other)
        assert found is not None
        assert not found.told_apart
