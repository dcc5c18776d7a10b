"""When a sum reaches a level: all members at once, number for number as one after the other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.model.film import running_sum
from curewatch.model.film.running_sum import FEW, filled, running


@given(st.integers(0, 2**32 - 1), st.integers(1, FEW + 2))
def test_a_level_is_reached_where_interpolation_says(seed: int, starts: int) -> None:
    """Sums that stand still, levels on a point, below the first, at the end, never, and nan."""
    rng = np.random.default_rng(seed)
    time = np.cumsum(rng.uniform(1.0, 900.0, 12))
    rate = rng.uniform(0.0, 2.0, (7, 12)) * (rng.random((7, 12)) < 0.7)
    total = running(time, rate)
    levels = rng.uniform(-1.0, 1.2, (starts, 7)) * total[:, -1]
    levels[rng.random(levels.shape) < 0.1] = np.nan
    points = rng.random(levels.shape) < 0.3
    levels[points] = np.broadcast_to(total[:, rng.integers(12)], levels.shape)[points]
    wanted = [[np.interp(each[m], total[m], time, right=np.nan) for m in range(7)] for each in levels]
    with np.errstate(all="raise"):
        found = filled(time, total, levels)
    np.testing.assert_array_equal(found, wanted)


def test_many_levels_and_few_are_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither way may err alone: by hand 1.5."""
    time, total = np.arange(4.0), np.array([[0.0, 1.0, 3.0, 9.0]])
    for few in (FEW, 0):
        monkeypatch.setattr(running_sum, "FEW", few)
        assert filled(time, total, np.array([[2.0]])) == 1.5
