"""Our own order statistics against numpy's."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.order import distinct, median, quantiles

VALUES = some.lists(some.floats(-1e6, 1e6), min_size=1, max_size=40)


@given(VALUES, some.lists(some.floats(0.0, 1.0), min_size=1, max_size=4))
def test_quantiles_and_median_are_those_of_numpy(values: list[float], asked: list[float]) -> None:
    """Hazen's, on every axis."""
    rows = np.array([values, values[::-1]])
    expected = np.quantile(rows, asked, axis=1, method="hazen")
    assert quantiles(rows, asked) == pytest.approx(expected, rel=1e-9, abs=1e-6)
    assert quantiles(rows.T, asked, axis=0) == pytest.approx(expected, rel=1e-9, abs=1e-6)
    assert median(rows) == pytest.approx(np.median(rows, axis=1), rel=1e-9, abs=1e-6)


def test_what_never_comes_is_later_than_all() -> None:
    """Infinite values stand at the end, and a quantile on a finite one is that one."""
    assert quantiles([1.0, 2.0, np.inf, np.inf], (0.125, 0.375)).tolist() == [1.0, 2.0]
    assert not np.isfinite(quantiles([1.0, 2.0, np.inf, np.inf], (0.9,))[0])
    assert np.isnan(median([1.0, 2.0, np.nan]))


@given(some.lists(some.integers(-5, 5), max_size=30))
def test_distinct_values_are_those_of_numpy(values: list[int]) -> None:
    """With the place of each."""
    array = np.array(values, dtype=np.int64)
    found, place = distinct(array)
    expected, expected_place = np.unique(array, return_inverse=True)
    assert found.tolist() == expected.tolist()
    assert place.tolist() == expected_place.tolist()


def test_none_of_them_loads_masked_arrays() -> None:
    """The control: numpy's median does."""
    program = "import sys, numpy as np\n{}\nprint('numpy.ma' in sys.modules)"
    ours = "from curewatch.order import *\nmedian([1.0]); quantiles([1.0], (0.1,)); distinct(np.array([1]))"
    for code, loads in ((ours, "False"), ("np.median([1.0])", "True")):
        ran = subprocess.run(
            [sys.executable, "-c", program.format(code)], capture_output=True, text=True, check=True
        )
        assert ran.stdout.strip() == loads
