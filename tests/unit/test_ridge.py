"""A fit told of rows that it did not see: as if each fold were fitted anew without them and their guard."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.model.air import ridge
from curewatch.model.air.ridge import FOLDS, FitRows, ridge_fits

SEEDS = st.integers(0, 2**32 - 1)
STANDS_STILL = 3  # a regressor that is the same at all hours


def far_off(seed: int, count: int, guard: int) -> float:
    """The largest difference from fits that are each made alone, of two groups that share hours."""
    rng, hours = np.random.default_rng(seed), 3 * count + 1
    known = rng.normal(rng.uniform(-9.0, 9.0, 5), rng.uniform(0.1, 9.0, 5), (hours, 5))
    known[:, 0], known[:, STANDS_STILL] = 1.0, 7.3
    groups = [
        FitRows(
            np.sort(rng.choice(hours - 1, count, replace=False)),
            rng.normal(size=(hours, wanted)),
            rng.uniform(0.1, 5.0, 5),
            guard,
        )
        for wanted in (2, 30)
    ]
    used = np.union1d(groups[0].rows, groups[1].rows)
    unused = np.setdiff1d(np.arange(hours - 1), used)
    known[unused] = np.nan
    asked = rng.random(hours) < 0.5
    found = ridge_fits(known, groups, asked)
    return max(_off(known, group, asked, fit) for group, fit in zip(groups, found, strict=True))


def _off(known: np.ndarray, group: FitRows, asked: np.ndarray, found: ridge.RidgeFit) -> float:
    """Of one group: standardised over its rows as the textbook has it, and each fit from its rows alone."""
    rows, penalty = group.rows, np.diag(group.penalty)
    centre, scale = known[rows].mean(axis=0), known[rows].std(axis=0)
    scale[scale < 1e-9] = 1.0
    there = (known - centre) / scale
    there[:, 0] = 1.0

    def alone(kept: np.ndarray) -> np.ndarray:
        own = there[kept]
        return np.linalg.solve(own.T @ own + penalty, own.T @ group.wanted[kept])

    worst = np.abs(found.now - there[-1] @ alone(rows)).max()
    told = np.full(group.wanted.shape, np.nan)
    told[rows[asked[rows]]] = found.held_out
    for fold in np.array_split(rows, FOLDS):
        kept = rows[(rows < fold[0] - group.guard) | (rows > fold[-1] + group.guard)]
        wrong = np.abs(told[fold] - there[fold] @ alone(kept))[asked[fold]]
        worst = max(worst, wrong.max(initial=0.0))
    return float(worst)


@given(SEEDS, st.integers(10, 60), st.integers(0, 200))
def test_each_fold_is_told_by_a_fit_without_it(seed: int, count: int, guard: int) -> None:
    """With hours missing, and with a guard that may leave nothing: then the penalty says zero."""
    assert far_off(seed, count, guard) < 1e-9


def test_a_fold_that_sees_itself_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: every fit from all rows."""
    uses = ridge._uses
    monkeypatch.setattr(ridge, "_uses", lambda *of: np.repeat(uses(*of)[:1], 1 + FOLDS, axis=0))
    assert far_off(1, 40, 2) > 1e-3


def test_a_regressor_that_stood_still_in_one_group_tells_nothing_there() -> None:
    """Then it moves at the hour that is told: as if it had not, but for what the other group learnt."""
    rng, hours = np.random.default_rng(5), 121
    known = np.column_stack([np.ones(hours), rng.normal(size=(hours, 2)), np.full(hours, 7.3)])
    known[90:, 3] = rng.normal(7.3, 1.0, hours - 90)
    still, moved = np.arange(80), np.arange(120)
    wanted, penalty = rng.normal(size=(hours, 2)), np.array([1e-3, 300.0, 300.0, 300.0])
    groups = [FitRows(rows, wanted, penalty, 6) for rows in (still, moved)]
    first, _ = ridge_fits(known, groups, np.ones(hours, bool))
    known[-1, 3] = 7.3
    as_before, _ = ridge_fits(known, groups, np.ones(hours, bool))
    assert np.abs(first.now - as_before.now).max() < 1e-9
