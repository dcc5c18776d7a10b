"""The recoat window: order of its moments, what closes it, and how a sheet's statement carries over."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.advice.judge.course import course
from curewatch.advice.judge.weather import dressed
from curewatch.materials import load_resin
from curewatch.model.film import blush
from curewatch.model.film.ensemble import cures
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.lots import Lot
from curewatch.model.film.recoat_window import recoat_window

SLOW = load_resin("epoxy-slow")
DAY = 86400.0


@given(st.floats(5.0, 60.0))
@settings(max_examples=30, deadline=None)
def test_moments_come_in_their_order(at: float) -> None:
    """Opens, best, closes: in this order whatever the temperature."""
    found = recoat_window(SLOW, cure(SLOW, constant(at + 273.15, 20 * DAY)))
    moments = [float(each) for each in found[:4] if not np.isnan(each)]
    assert moments == sorted(moments)


def test_in_the_cold_glass_closes_it_and_in_warmth_conversion_does() -> None:
    """At 10 degC the film turns to glass before 0.80; at 60 degC it does not."""
    cold = recoat_window(SLOW, cure(SLOW, constant(283.15, 10 * DAY)))
    warm = recoat_window(SLOW, cure(SLOW, constant(333.15, DAY)))
    assert (cold.cause, warm.cause) == ("glass", "conversion")
    assert "abrade" in cold.afterwards


def test_blush_closes_it_first_in_cold_damp_air() -> None:
    """Once so much gathered that it must be washed off, no layer goes on without washing."""
    done = cure(SLOW, constant(281.15, 10 * DAY))
    gathering = blush.rate(SLOW, done.temperature, np.full(done.time.shape, 0.95), 840e-6)
    alone, damp = recoat_window(SLOW, done), recoat_window(SLOW, done, gathering)
    assert damp.cause == "blush"
    assert float(damp.closes) < float(alone.closes)
    assert "wash" in damp.afterwards


def test_a_stated_window_holds_at_its_temperature_and_stretches_in_the_cold() -> None:
    """18 h at 20 degC stays 18 h there, and more than doubles at 10 degC."""
    stated = replace(SLOW, bond=replace(SLOW.bond, sheet_closes=18 * 3600.0, sheet_temperature=293.15))
    at_20 = recoat_window(stated, cure(stated, constant(293.15, 5 * DAY)))
    at_10 = recoat_window(stated, cure(stated, constant(283.15, 5 * DAY)))
    assert at_20.cause == "sheet"
    assert float(at_20.closes) == pytest.approx(18 * 3600.0, rel=1e-3)
    assert float(at_10.closes) / float(at_20.closes) == pytest.approx(2.33, abs=0.02)


def test_laminating_polyester_stays_open_a_day_and_wax_leaves_no_window() -> None:
    """Common practice: tacky polyester takes the next layer; waxed polyester is abraded."""
    open_face, waxed = load_resin("polyester-laminating"), load_resin("polyester-topcoat")
    long = recoat_window(open_face, cure(open_face, constant(293.15, 3 * DAY)))
    none = recoat_window(waxed, cure(waxed, constant(293.15, 3 * DAY)))
    assert float(long.closes) >= 0.999 * DAY
    assert none.cause == "wax"
    assert float(none.closes) == float(none.opens)


def test_members_each_get_their_own_window() -> None:
    """Arrays in, arrays out; warmer members open earlier."""
    time = np.linspace(0.0, 5 * DAY, 400)
    paths = np.stack([np.full(400, 278.15 + 5 * each) for each in range(4)])
    found = recoat_window(SLOW, cures(SLOW, History(time, paths), [Lot(SLOW, 1.0)]))
    assert found.opens.shape == found.closes.shape == (4,)
    assert np.all(np.diff(found.opens) < 0.0)


def test_the_advice_closes_the_window_when_the_blush_must_be_washed_off() -> None:
    """Cold, damp air full of heater gas ends the window of a planned start before glass does."""
    time = 450.0 * np.arange(193 * 2)
    cold, damp = np.full((64, time.size), 281.15), np.full((64, time.size), 1000.0)
    paths = dressed(time, cold, cold, damp)
    first = np.array([0, 8])
    plain, gassed = (course(SLOW, paths, first, carbon_dioxide=each) for each in (420e-6, 4000e-6))
    assert np.nanmedian(gassed.laminate_before) < 0.5 * np.nanmedian(plain.laminate_before)
    assert np.all(gassed.blush > plain.blush)
