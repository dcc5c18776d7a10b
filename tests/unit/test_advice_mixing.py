"""Mixing by weight, by hand calculation."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.plan.mixing import Proportion, batch, check, smallest_batch
from curewatch.errors import UsageError
from curewatch.wording import Wording, plain_wording

DEMO = Proportion(0.25, 0.2375, 0.2625, 1150.0, 1000.0, "common practice", "plus or minus 5 per cent")


worded = plain_wording().say


def test_two_hundred_grams_at_four_to_one() -> None:
    """200 g at 100 : 25: 160 g resin, 40 g hardener; 139 and 40 ml; the scale ends at 198 to 202 g."""
    cup = batch(DEMO, 0.200)
    assert (cup.resin, cup.added) == (pytest.approx(0.160), pytest.approx(0.040))
    assert cup.resin_volume == pytest.approx(139.1e-6, abs=1e-7)  # 160 g / 1.15 g/ml
    assert cup.added_volume == pytest.approx(40.0e-6)
    assert cup.scale_lowest == pytest.approx(0.198)  # 160 x 1.2375
    assert cup.scale_highest == pytest.approx(0.202)  # 160 x 1.2625


def test_the_scale_s_step_sets_the_smallest_cup() -> None:
    """1 g steps, 0.0125 borne: resin 0.5 x 1.25 / 0.0125 = 50 g, so 62.5 g in all."""
    assert smallest_batch(DEMO, 1e-3) == pytest.approx(0.0625)
    with pytest.raises(UsageError, match="at least 62 g"):
        batch(DEMO, 0.050)
    assert batch(DEMO, 0.050, scale_step=1e-4).resin == pytest.approx(0.040)


def test_a_ratio_outside_is_refused_with_what_to_add() -> None:
    """160 g with 30 g is 18.75 : 100: refused, 10 g of hardener are missing."""
    seen = check(DEMO, 0.160, 0.030)
    assert not seen.within
    assert "add 10 g of hardener" in worded(seen.advised)
    assert "add 0.353 oz of hardener" in Wording(ounces=True).say(seen.advised)
    assert "add 40 g of resin" in worded(check(DEMO, 0.160, 0.050).advised)


@given(some.floats(0.1, 5.0))
def test_a_cup_mixed_as_told_is_always_within(mass: float) -> None:
    """What batch says, check accepts."""
    cup = batch(DEMO, mass)
    assert check(DEMO, cup.resin, cup.added).within


def test_a_cup_too_small_for_its_scale_is_not_within_even_at_the_right_ratio() -> None:
    """20 g and 5 g on a 1 g scale: the ratio cannot be known well enough."""
    seen = check(DEMO, 0.020, 0.005)
    assert seen.deviation == pytest.approx(0.0)
    assert not seen.within
    assert "finer scale" in worded(seen.advised)


@pytest.mark.parametrize(("resin", "hardener"), [(0.0, 0.1), (0.1, 0.0), (-1.0, 0.1)])
def test_a_missing_mass_is_refused(resin: float, hardener: float) -> None:
    """Both must have been weighed."""
    with pytest.raises(UsageError):
        check(DEMO, resin, hardener)
