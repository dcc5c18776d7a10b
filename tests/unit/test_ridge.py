"""A fit told of rows that it did not see: as if each fold were fitted anew without them and their guard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.model.air import ridge
from curewatch.model.air.ridge import FOLDS, ridge_fit

SEEDS = st.integers(0, 2**32 - 1)


def far_off(seed: int, count: int, guard: int) -> float:
    """The largest difference from fits that are each made alone."""
    rng = np.random.default_rng(seed)
    rows = np.sort(rng.choice(3 * count, count, replace=False))
    known, wanted = rng.normal(size=(count, 4)), rng.normal(size=(count, 3))
    penalty = rng.uniform(0.1, 5.0, 4)
    asked = rng.random(count) < 0.5
    found = ridge_fit(rows, known, wanted, penalty, guard=guard, asked=asked)
    told = np.full(wanted.shape, np.nan)
    told[asked] = found.held_out

    def alone(kept: np.ndarray) -> np.ndarray:
        there = known[kept]
        return np.linalg.solve(there.T @ there + np.diag(penalty), there.T @ wanted[kept])

    worst = np.abs(found.weights - alone(np.ones(count, bool))).max()
    for fold in np.array_split(np.arange(count), FOLDS):
        kept = (rows < rows[fold[0]] - guard) | (rows > rows[fold[-1]] + guard)
        wrong = np.abs(told[fold] - known[fold] @ alone(kept))[asked[fold]]
        worst = max(worst, wrong.max(initial=0.0))
    return float(worst)


@given(SEEDS, st.integers(10, 60), st.integers(0, 200))
def test_each_fold_is_told_by_a_fit_without_it(seed: int, count: int, guard: int) -> None:
    """With hours missing, and with a guard that may leave nothing: then the penalty says zero."""
    assert far_off(seed, count, guard) < 1e-9


def test_a_fold_that_sees_itself_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: every fit from all rows."""
    weights, seen = ridge._weights, []

    def all_of_them(rest: list[ridge._Stretch], penalty: np.ndarray, wanted: int) -> np.ndarray:
        seen.extend(rest)
        return weights(list({one.begin: one for one in seen}.values()), penalty, wanted)

    monkeypatch.setattr(ridge, "_weights", all_of_them)
    assert far_off(1, 40, 2) > 1e-3
