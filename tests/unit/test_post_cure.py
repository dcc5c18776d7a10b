"""A post-cure is a schedule that never softens the part, and gets there for a slow lot."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.materials import Resin, load_resin
from curewatch.model.film import post_cure
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.finish import lower_band
from curewatch.model.film.lots import rate_factor_at
from curewatch.model.film.post_cure import (
    LONGEST,
    RAMP,
    SHORTEST,
    SLOW_LOT,
    SOFTENS,
    STEP,
    PostCure,
    gentle_start,
    post_cures,
)
from curewatch.units import DAY, HOUR
from tests.examples import up_to

SLOW = load_resin("epoxy-slow")
LOWER = lower_band(SLOW)
WANTED = SLOW.network.full - 10.0


def green(celsius: float, days: float) -> tuple[float, float]:
    """Conversion of the likely film and of the lower band after some days at a temperature."""
    still = constant(celsius + 273.15, days * DAY)
    return float(cure(SLOW, still).conversion[-1]), float(cure(LOWER, still).conversion[-1])


def followed(resin: Resin, conversion: float, steps: list[tuple[float, float]]) -> np.ndarray:
    """Glass transition of a slow lot at the beginning of each step and at the end, by the film."""
    edge = np.cumsum([0.0, *(duration for _, duration in steps)])
    time = np.unique(np.concatenate([edge[:-1], edge[1:] - 1.0]))
    warmth = np.array([steps[int(np.searchsorted(edge, at, "right")) - 1][0] for at in time])
    done = cure(
        resin, History(time, warmth), conversion=conversion, rate_factor=rate_factor_at(SLOW, SLOW_LOT)
    )
    return np.asarray(np.interp(edge, done.time, done.glass_transition))


def softened(way: PostCure, conversion: tuple[float, float]) -> float:
    """By how much a step is at most too warm for the lower band at its beginning. [K]"""
    steps = [(each.temperature, each.duration) for each in way.steps]
    begun = followed(LOWER, conversion[1], steps)[:-1]
    return max(kelvin - SOFTENS - at for (kelvin, _), at in zip(steps, begun, strict=True))


@given(st.floats(5.0, 25.0), st.floats(2.0, 14.0))
@settings(max_examples=up_to(8), deadline=None)
def test_no_step_is_warmer_than_its_glass_transition_allows(celsius: float, days: float) -> None:
    """From any shed, every step keeps below what the lower band has reached, and below 10 K an hour."""
    conversion = green(celsius, days)
    ways = post_cures((SLOW, LOWER), conversion, WANTED, begin=celsius + 273.15)
    assert ways
    for way in ways:
        assert softened(way, conversion) <= 0.5
        levels = [each.temperature for each in way.steps]
        assert all(0.0 < step <= STEP + 1e-6 for step in np.diff(levels))
        assert all(each.duration >= STEP / RAMP - 1.0 for each in way.steps)
        steps = [(each.temperature, each.duration) for each in way.steps]
        assert followed(SLOW, conversion[0], steps)[-1] >= WANTED - 0.5
        assert way.steps[-1].duration >= SHORTEST
        assert way.duration <= LONGEST


def test_a_quick_ramp_is_held_back_by_the_glass(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 120 K an hour steps are held until the glass has followed; without the limit the part softens."""
    conversion = green(8.0, 3.0)
    monkeypatch.setattr(post_cure, "RAMP", 120.0 / HOUR)
    way = post_cures((SLOW, LOWER), conversion, WANTED, begin=281.15)[-1]
    assert softened(way, conversion) <= 1.0
    assert max(each.duration for each in way.steps[:-1]) > 2.0 * STEP / RAMP / 12.0
    monkeypatch.setattr(post_cure, "SOFTENS", 1000.0)
    unlimited = post_cures((SLOW, LOWER), conversion, WANTED, begin=281.15)[-1]
    assert softened(unlimited, conversion) > 5.0


def test_gentler_comes_first_and_takes_longer() -> None:
    """Each further way is hotter and holds less."""
    ways = post_cures((SLOW, LOWER), green(20.0, 5.0), WANTED)
    holds = [each.steps[-1].duration for each in ways]
    assert [each.temperature for each in ways] == sorted(each.temperature for each in ways)
    assert holds == sorted(holds, reverse=True)
    assert gentle_start(300.0) == 300.0 + SOFTENS


def test_none_is_promised_where_none_gets_there() -> None:
    """A network whose highest glass transition lies beyond any tent is told so."""
    hot = replace(SLOW, network=replace(SLOW.network, full=473.15))
    assert post_cures((hot, lower_band(hot)), (0.6, 0.6), 463.15) == ()


@pytest.mark.parametrize("wanted", [-20.0])
def test_a_network_that_is_soft_enough_needs_the_shortest_only(wanted: float) -> None:
    """What is reached already is held for as long as a part takes to be warm through."""
    (way,) = post_cures((SLOW, LOWER), green(20.0, 5.0), SLOW.network.full + wanted - 30.0)
    assert way.steps[-1].duration == SHORTEST
