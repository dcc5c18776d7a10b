"""Batches: the largest cup is the largest, and the cups add up."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.judge.batches import SHARE, largest, split
from curewatch.errors import UsageError


def life(mass: float) -> float:
    """A made-up cup: an hour when tiny, shorter as it grows."""
    return 3600.0 / (1 + 5 * mass)


def test_the_largest_cup_by_hand() -> None:
    """m / 0.2 g/s = 0.75 x 3600 / (1 + 5 m): 5 m² + m - 0.54 = 0, so m = 0.2435 kg."""
    assert largest(life, 0.2e-3) == pytest.approx(0.2435, abs=0.001)


@given(some.floats(0.03, 20), some.floats(0.05e-3, 5e-3))
def test_cups_add_up_and_each_is_used_in_time(total: float, use_rate: float) -> None:
    """Equal cups, their sum the total, each used within 75 % of its own life."""
    made = split(total, life, use_rate)
    if made is None:
        assert 0.02 / use_rate > SHARE * life(0.02)
        return
    assert made.total == pytest.approx(total)
    assert made.use_time <= SHARE * made.pot_life * (1 + 1e-9)


@given(some.floats(0.1, 20), some.floats(0.1e-3, 2e-3))
def test_one_cup_fewer_would_kick_first(total: float, use_rate: float) -> None:
    """The count is the smallest that works, to within a gram a cup."""
    made = split(total, life, use_rate)
    if made is not None and made.count > 1:
        bigger = total / (made.count - 1) + 0.001
        assert bigger > 2.0 or bigger / use_rate > SHARE * life(bigger)


def test_when_even_the_smallest_kicks_first_there_is_no_plan() -> None:
    """A resin that kicks in ten seconds is not for hands."""
    assert split(1.0, lambda _: 10.0, 0.1e-3) is None


def test_nothing_to_spread_is_refused() -> None:
    """Zero is a mistake, not a plan."""
    with pytest.raises(UsageError):
        split(0.0, life, 1e-3)
