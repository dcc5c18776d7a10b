"""How errors of past nights are laid on the coming one: by likeness, and on a scale that knows saturation."""

import numpy as np
import pytest

from curewatch.model.air import error_paths
from curewatch.model.air.past import DEW_POINT, Hours

DAYS, AHEAD = 60, 24


def nights(now_spread: float, *, damp: bool = True) -> tuple[Hours, np.ndarray]:
    """Damp weeks (1 K from saturation) missed by 0.2 K, dry ones (12 K) by 3 K, either way in turn."""
    day = np.arange(DAYS * 24 + 1) // 24
    spread = np.where((day // 10 % 2 == 0) & damp, 1.0, 12.0)
    spread[-1] = now_spread
    air = np.full(len(spread), 285.0)
    missed = np.where(spread < 5.0, 0.2, 3.0) * np.where(day % 2, 1.0, -1.0)
    errors = np.zeros((len(spread), 2, AHEAD))
    errors[:, DEW_POINT] = missed[:, None]
    errors[-AHEAD:] = np.nan
    return Hours(
        np.arange(len(spread)) % 24.0, np.stack([air, air - spread]), np.empty((0, len(spread)))
    ), errors


def whole(errors: np.ndarray) -> np.ndarray:
    """Hours of which all is known."""
    return np.flatnonzero(np.isfinite(errors).all(axis=(1, 2)))


def spread_of_the_dew_point(now_spread: float, damp: bool = True) -> float:
    """Standard deviation of the drawn dew points six hours ahead. [K]"""
    hours, errors = nights(now_spread, damp=damp)
    found = error_paths.error_paths(hours, np.zeros((2, AHEAD)), errors, whole(errors), 256)
    assert found is not None
    return float(found.residuals[:, DEW_POINT, 5].std())


def test_a_damp_night_is_told_by_damp_nights(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fifth of a dry night's band; drawn evenly, as the control, half as wide again."""
    found = spread_of_the_dew_point(1.0)
    assert found < 0.2 * spread_of_the_dew_point(12.0)
    monkeypatch.setattr(error_paths, "LIKE_NIGHT", 1e9)
    assert spread_of_the_dew_point(1.0) > 1.5 * found


def test_dry_nights_alone_move_a_damp_one_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """With no damp night in the past the scale alone narrows the band; straight, it is that of dry nights."""
    on_the_scale = spread_of_the_dew_point(1.0, damp=False)
    for name in ("on_scale", "from_scale"):
        monkeypatch.setattr(error_paths, name, np.asarray)
    assert on_the_scale < 0.6 * spread_of_the_dew_point(1.0, damp=False)


def test_what_like_nights_were_missed_by_moves_the_middle() -> None:
    """Damp nights came 0.4 K moister than told: a damp night is told moister, by less than that."""
    hours, errors = nights(1.0)
    errors[hours.spread < 5.0, DEW_POINT] += 0.4
    found = error_paths.error_paths(hours, np.zeros((2, AHEAD)), errors, whole(errors), 256)
    assert found is not None
    assert 0.05 < found.mean[DEW_POINT, 5] < 0.4


def test_the_scale_goes_there_and_back() -> None:
    """From 5 K beyond saturation to 59 K, rising, with steps that shrink towards saturation."""
    spread = np.linspace(-5.0, 59.0, 6401)
    scale = error_paths.on_scale(spread)
    assert np.all(np.diff(scale) > 0)
    assert np.abs(error_paths.from_scale(scale) - spread).max() < 0.001
    slope = error_paths.on_scale(np.array([0.01, 20.01])) - error_paths.on_scale(np.array([0.0, 20.0]))
    assert slope[0] > 4 * slope[1]


def test_too_few_whole_paths_tell_no_band() -> None:
    hours, errors = nights(1.0)
    errors[error_paths.FEWEST - 1 :] = np.nan
    assert error_paths.error_paths(hours, np.zeros((2, AHEAD)), errors, whole(errors), 256) is None
