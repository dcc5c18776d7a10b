"""Water at the surface brings deadlines forward: sign published, size ours, never for what is waited for."""

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge.course import Course, course
from curewatch.advice.judge.weather import dressed
from curewatch.materials import load_resin
from curewatch.materials.resin import Origin, Resin
from curewatch.model.film.damp_air import acceleration
from curewatch.physics import moist_air

SLOW, POLYESTER = load_resin("epoxy-slow"), load_resin("polyester-laminating")
LEARNT = replace(SLOW, origins={**SLOW.origins, "uncertainty.rate_sd": Origin("learned", "a layer")})


def in_air(resin: Resin, humidity: float) -> Course:
    time = 450.0 * np.arange(193 * 2)
    at = np.full((64, time.size), 288.15)
    pressure = np.full(at.shape, float(moist_air.vapour_pressure(288.15, humidity)))
    return course(resin, dressed(time, at, at, pressure), np.array([0, 8]), carbon_dioxide=1e-6)


def test_a_damp_shed_brings_deadlines_forward_and_nothing_that_is_waited_for() -> None:
    """At 90 % working time, gel and the window's close come some 13 % sooner than in a dry shop."""
    dry, damp = in_air(SLOW, 0.45), in_air(SLOW, 0.90)
    for name in ("working_time", "gel", "laminate_before"):
        ratio = np.median(getattr(dry, name)) / np.median(getattr(damp, name))
        assert ratio == pytest.approx(np.exp(0.3 * 0.4), rel=0.02), name
    for name in ("recoat_from", "set", "firm", "ready_to_sand"):
        assert np.array_equal(getattr(dry, name), getattr(damp, name), equal_nan=True), name


def test_what_is_not_known_of_its_size_widens_the_band() -> None:
    """Lot and water are independent: their variances add, 0.22 of the lot and 0.2 x 0.45 of the water."""
    dry, damp = (float(np.var(np.log(in_air(SLOW, each).gel[0]))) for each in (0.45, 0.95))
    assert damp - dry == pytest.approx((0.2 * 0.45) ** 2, rel=0.3)


@pytest.mark.parametrize("resin", [POLYESTER, LEARNT], ids=["polyester", "learnt from damp layers"])
def test_what_it_is_not_asked_of_stays(resin: Resin) -> None:
    """No amine, no such water; a lot that was learnt from layers has the shed's water in it."""
    assert np.array_equal(in_air(resin, 0.45).gel, in_air(resin, 0.75).gel, equal_nan=True)


def test_it_is_one_in_a_dry_shop_and_never_slower_in_the_middle() -> None:
    humidity = np.tile(np.linspace(0.0, 1.0, 21)[:, None], (1, 64))
    found = acceleration(SLOW, humidity)
    assert np.all(found[humidity[:, 0] <= 0.5] == 1.0)
    assert np.all(np.diff(np.median(found, axis=1)) >= 0.0)
