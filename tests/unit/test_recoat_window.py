"""The recoat window: order of its moments, what closes it, and how a sheet's statement carries over."""

import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.advice.judge.course import course
from curewatch.advice.judge.weather import dressed
from curewatch.materials import load_resin, resin_names
from curewatch.materials.resin import Resin
from curewatch.model.film import blush
from curewatch.model.film.ensemble import cures
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.lots import Lot
from curewatch.model.film.recoat_window import recoat_window
from curewatch.physics import moist_air
from curewatch.units import FloatArray
from tests.examples import up_to

SLOW = load_resin("epoxy-slow")
POLYESTER = load_resin("polyester-laminating")
DAY = 86400.0


@given(st.floats(5.0, 60.0))
@settings(max_examples=up_to(30), deadline=None)
def test_moments_come_in_their_order(at: float) -> None:
    """Opens, best, closes: in this order whatever the temperature."""
    found = recoat_window(SLOW, cure(SLOW, constant(at + 273.15, 20 * DAY)))
    moments = [float(each) for each in found[1:5] if not np.isnan(each)]
    assert moments == sorted(moments)


EPOXIES = [load_resin(f"epoxy-{name}") for name in ("fast", "slow", "laminating", "low-blush")]


def test_glass_closes_what_conversion_leaves_open() -> None:
    """A resin said to bond until 0.95 of what it can reach turns to glass before, in the cold."""
    late = replace(SLOW, bond=replace(SLOW.bond, closes=0.95))
    cold, usual = (recoat_window(resin, cure(resin, constant(283.15, 14 * DAY))) for resin in (late, SLOW))
    assert (cold.cause, usual.cause) == ("glass", "conversion")
    assert "abrade" in cold.afterwards


@pytest.mark.parametrize("resin", EPOXIES, ids=lambda resin: resin.name)
@pytest.mark.parametrize("at", [5.0, 8.0, 10.0, 12.0])
def test_there_is_a_best_time_in_the_cold(resin: Resin, at: float) -> None:
    """Best and last are shares of what the film can reach, so that cold shuts neither away."""
    found = recoat_window(resin, cure(resin, constant(at + 273.15, 14 * DAY)))
    assert found.opens <= found.best_from < found.best_until <= found.closes


def test_a_hot_film_closes_where_it_was_measured() -> None:
    """Moosburger-Will 2015: 0.70 to 0.80 of a system that is cured hot, which reaches all there is."""
    done = cure(SLOW, constant(353.15, DAY))
    found = recoat_window(SLOW, done)
    assert np.interp(found.best_from, done.time, done.conversion) == pytest.approx(0.70, abs=2e-3)
    assert np.interp(found.closes, done.time, done.conversion) == pytest.approx(0.80, abs=2e-3)


@pytest.mark.parametrize("resin", EPOXIES, ids=lambda resin: resin.name)
def test_what_a_film_can_reach_is_what_two_weeks_come_to(resin: Resin) -> None:
    """The reference of the window is the end that the law itself gives, at 0 to 40 degC."""
    for at in range(0, 41, 5):
        end = float(cure(resin, constant(at + 273.15, 14 * DAY)).conversion[-1])
        assert float(resin.law().reachable(at + 273.15)) == pytest.approx(end, abs=0.03)


@given(st.floats(0.0, 45.0), st.sampled_from(EPOXIES))
@settings(max_examples=up_to(40), deadline=None)
def test_wet_on_wet_comes_first_and_lasts_until_gel(at: float, resin: Resin) -> None:
    """The next ply may go on at once; no window closes while the film is still wet."""
    done = cure(resin, constant(at + 273.15, 20 * DAY))
    found = recoat_window(resin, done)
    assert np.interp(found.wet_until, done.time, done.conversion) == pytest.approx(0.58, abs=2e-3)
    assert found.wet_until <= found.closes


def damper(resin: Resin, done: Cure, gas: float) -> FloatArray:
    """When it closes, in air that is damper from one to the next; the end of what is looked at if never."""
    closes = []
    for humidity in 0.40 + np.geomspace(0.01, 0.599, 500):
        gathering = blush.rate(resin, done.temperature, np.full(done.time.shape, humidity), gas)
        closes.append(float(recoat_window(resin, done, gathering).closes))
    return np.nan_to_num(closes, nan=done.time[-1])


@pytest.mark.parametrize("gas", [420e-6, 1500e-6])
@pytest.mark.parametrize("at", [6.0, 12.0, 20.0])
@pytest.mark.few(1)
def test_no_cliff_without_a_cause(at: float, gas: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A little more damp or cold moves the close a little: never from "blush" to much later at once."""
    done = cure(SLOW, constant(at + 273.15, 14 * DAY))
    closes = damper(SLOW, done, gas)
    assert np.all(np.diff(closes) <= 1e-6)
    assert np.max(np.abs(np.diff(np.log(closes)))) < 0.05
    colder = [
        float(recoat_window(SLOW, cure(SLOW, constant(kelvin, 14 * DAY))).closes)
        for kelvin in np.arange(275.15, 303.15, 0.5)
    ]
    assert np.max(np.abs(np.diff(np.log(colder)))) < 0.08
    # The control: all the amine counts until one conversion, and none from there on.
    monkeypatch.setattr(blush, "amine_left", lambda conversion: np.where(conversion < 0.6, 1.0, 0.0))
    assert np.max(np.abs(np.diff(np.log(damper(SLOW, done, gas))))) > 0.05


@pytest.mark.parametrize("resin", [load_resin(name) for name in resin_names()], ids=lambda each: each.name)
@pytest.mark.few(1)
def test_no_cliff_for_any_resin(resin: Resin) -> None:
    """By a degree from 2 to 30 degC, in dry, damp and wet air: the close moves by less than an eighth."""
    closes = []
    for kelvin in np.arange(275.15, 303.65, 1.0):
        done = cure(resin, constant(kelvin, 14 * DAY))
        damp = (np.full(done.time.shape, humidity) for humidity in (0.40, 0.70, 0.90))
        gathering = (blush.rate(resin, done.temperature, each, 420e-6) for each in damp)
        closes.append([float(recoat_window(resin, done, each).closes) for each in gathering])
    assert np.all(np.isfinite(closes))
    assert np.max(np.abs(np.diff(np.log(closes), axis=0))) < 0.125


def test_the_advice_and_the_film_tell_the_same_window() -> None:
    """In steady cold damp air the course of one usual lot closes when the film alone does, within 3 %."""
    time = 450.0 * np.arange(193 * 2)
    at, humidity = np.full((64, time.size), 283.15), 0.85
    damp = np.full(at.shape, float(moist_air.vapour_pressure(283.15, humidity)))
    for gas in (420e-6, 2500e-6, 4000e-6):
        seen = course(
            SLOW, dressed(time, at, at, damp), np.array([0]), chosen=[Lot(SLOW, 1.0)], carbon_dioxide=gas
        )
        done = cure(SLOW, constant(283.15, 2 * DAY))
        gathering = blush.rate(SLOW, done.temperature, np.full(done.time.shape, humidity), gas)
        alone = recoat_window(SLOW, done, gathering)
        assert float(seen.laminate_before[0, 0]) == pytest.approx(float(alone.closes), rel=0.03)
        assert float(seen.blush[0, 0]) == pytest.approx(
            float(blush.blush(SLOW, done, humidity, gas).exposure), rel=0.03
        )


def test_peel_ply_is_always_abraded() -> None:
    """A face bared by peel ply alone lost three quarters of its fracture energy (abstract, Baley 2005)."""
    root = Path(str(resources.files("curewatch")))
    told = [
        line
        for path in root.rglob("*.py")
        for line in re.findall(r'"[^"\n]*"', path.read_text(encoding="utf-8"))
        if re.search(r"\b(tear|torn|pull)\b[^.;]*\b(off|away)\b", line, re.IGNORECASE) and "ply" in line
    ]
    assert told
    assert [line for line in told if not re.search(r"\boff and abrade\b", line)] == []


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


@pytest.mark.parametrize("stated", [None, 283.15, 303.15])
def test_a_stated_window_counts_from_its_own_temperature(stated: float | None) -> None:
    """At that temperature it is as long as stated; where none is stated, at 20 degC."""
    resin = replace(POLYESTER, bond=replace(POLYESTER.bond, sheet_temperature=stated))
    found = recoat_window(resin, cure(resin, constant(stated or 293.15, 10 * DAY)))
    assert (found.cause, float(found.closes)) == (
        "sheet",
        pytest.approx(POLYESTER.bond.sheet_closes, rel=2e-3),
    )


@pytest.mark.parametrize("resin", [SLOW, POLYESTER], ids=lambda resin: resin.name)
def test_many_films_in_one_question_are_told_as_each_alone(resin: Resin) -> None:
    """Blush and a sheet's statement, too; the cause is that of the most, and none where most stay open."""
    warmth = (281.15, 285.15, 300.15)
    time, films = 900.0 * np.arange(6 * 96), []
    for kelvin in warmth:
        one = cure(resin, constant(kelvin, 6 * DAY))
        films.append(Cure(time, *(np.interp(time, one.time, column) for column in one[1:])))
    damp = [blush.rate(resin, each.temperature, np.full(each.time.shape, 0.9), 420e-6) for each in films]
    together = Cure(films[0].time, *(np.stack(column) for column in list(zip(*films, strict=True))[1:]))
    found = recoat_window(resin, together, np.stack(damp))
    alone = [recoat_window(resin, film, rate) for film, rate in zip(films, damp, strict=True)]
    for place, name in enumerate(found._fields[:5]):
        assert found[place] == pytest.approx(np.array([each[place] for each in alone]), nan_ok=True), name
    causes = [each.cause for each in alone]
    assert found.cause == max(causes, key=causes.count)
    short = Cure(*(column[..., : np.searchsorted(films[0].time, 1800.0)] for column in together))
    open_still = recoat_window(resin, short)
    assert (open_still.cause, np.isnan(open_still.closes).all()) == ("", True)
    assert open_still.afterwards == "still open at the end of what was looked at"


def test_a_window_that_closes_before_the_best_has_no_best() -> None:
    """Blush shuts it first: neither best moment is told, and just before the best it is none, too."""
    done = cure(SLOW, constant(283.15, 6 * DAY))
    plain = recoat_window(SLOW, done)
    shut = recoat_window(SLOW, done, np.full(done.time.shape, 1.0))
    assert shut.cause == "blush"
    assert np.isnan(shut.best_from) == (shut.closes <= plain.best_from)
    assert np.isnan(shut.best_until) == np.isnan(shut.best_from)


def test_damp_air_brings_every_close_forward_but_that_by_blush_or_wax() -> None:
    """A quarter faster: a fifth of the time is gone. Blush counts hours of air; wax rises at the gel."""
    film = cure(SLOW, constant(288.15, 5 * DAY))
    dry, damp = recoat_window(SLOW, film), recoat_window(SLOW, film, sooner=1.25)
    assert float(damp.closes) == pytest.approx(float(dry.closes) / 1.25, rel=1e-12)
    blushing = np.full(film.time.size, 10.0)
    dry, damp = (recoat_window(SLOW, film, blushing, sooner) for sooner in (1.0, 1.25))
    assert (dry.cause, damp.cause) == ("blush", "blush")
    assert float(damp.closes) == float(dry.closes)
    topcoat = load_resin("polyester-topcoat")
    waxed = cure(topcoat, constant(288.15, 2 * DAY))
    dry, damp = (recoat_window(topcoat, waxed, None, sooner) for sooner in (1.0, 1.25))
    assert (dry.cause, float(damp.closes)) == ("wax", float(dry.closes))
