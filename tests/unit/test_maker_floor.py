"""A maker's sheet is a floor: what it waits longer for is kept, and carried to other temperatures."""

from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge.course import course
from curewatch.advice.judge.weather import Weather, dressed
from curewatch.materials import Resin, load_resin
from curewatch.materials.maker_sheet import Statement, Transition, form_text, read_maker_sheet
from curewatch.materials.resin_writer import as_toml
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.ensemble import band, milestone_times
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.lots import Lot
from curewatch.model.film.milestones import Milestones, age_rate, milestones
from curewatch.model.film.outcome import outcome
from curewatch.model.film.recoat_window import recoat_window
from curewatch.model.fit.sheet_fit import SheetFit, fit
from curewatch.model.mass.buildup import Buildup
from curewatch.units import DAY, HOUR
from tests.other_sheets import BASE, typed

SLOW = """
name = "typical-slow"
title = "Typical slow sheet"
kind = "epoxy"
based_on = "epoxy-slow"
[[pot_life]]
minutes = [20, 25]
mass_g = 150
temperature_c = 25
[[gel_time]]
hours = 3
temperature_c = 20
[[tack_free]]
hours = [9, 12]
temperature_c = 20
[[recoat]]
from_hours = 3
until_hours = 24
temperature_c = 20
[[sand]]
hours = 24
temperature_c = 20
"""


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> SheetFit:
    """What a sheet that is typical of a slow hardener comes to."""
    file = tmp_path_factory.mktemp("sheet") / "sheet.toml"
    file.write_text(SLOW, encoding="utf-8")
    return fit(read_maker_sheet(file), BASE)


def marks(resin: Resin, celsius: float) -> Milestones:
    """As a film at one temperature."""
    return milestones(resin, cure(resin, constant(celsius + 273.15, 12 * DAY)))


def test_a_typical_slow_sheet_contradicts_nothing(slow: SheetFit) -> None:
    """Pot 20 to 25 min, gel 3 h, tack-free 9 to 12 h, recoat from 3 h, sand 24 h: all met or kept."""
    assert slow.contradictions == ()
    assert slow.lost_window is None
    assert {each.verdict for each in slow.met} == {"met", "kept"}
    kept = {each.title for each in slow.met if each.verdict == "kept"}
    whole = {"tack-free", "time to sand", "recoat from", "recoat until"}
    assert kept == {f"{each}, film, 20 °C" for each in whole}
    assert {each.title for each in slow.met if each.cautious} == {
        "tack-free, film, 20 °C",
        "time to sand, film, 20 °C",
    }


@pytest.mark.long
def test_a_recoat_limit_long_after_the_film_closed_is_named(tmp_path: Path) -> None:
    """48 h, where the film of the other statements closes at 7 to 10 h; the control is 9 h."""
    file, found = tmp_path / "sheet.toml", []
    for hours in (9, 48):
        file.write_text(form_text().replace("until_hours = 9", f"until_hours = {hours}"), encoding="utf-8")
        found.append(fit(read_maker_sheet(file), BASE).met[-1])
    right, wrong = found
    assert right.foretold is None
    assert wrong.foretold is not None
    assert not wrong.cautious
    low, high = wrong.foretold
    assert 6 * HOUR < low < high < 11 * HOUR


@pytest.mark.long
def test_what_is_kept_is_never_told_sooner_and_later_in_the_cold(slow: SheetFit) -> None:
    """At the sheet's temperature what it states; at 10 degC at least 1.8 times as long; firm is not sand."""
    warm, cold = marks(slow.resin, 20.0), marks(slow.resin, 10.0)
    assert warm.gel == pytest.approx(3 * HOUR, rel=0.15)
    for mark, hours in (("recoat_from", 3.0), ("tack_free", 10.39), ("ready_to_sand", 24.0)):
        at = getattr(warm, mark)
        assert at >= 0.995 * hours * HOUR, mark
        assert getattr(cold, mark) > 1.8 * at, mark
    assert warm.firm < 0.6 * warm.ready_to_sand
    film = cure(slow.resin, constant(293.15, 3 * DAY))
    assert float(recoat_window(slow.resin, film).opens) >= 0.995 * 3 * HOUR
    many = milestone_times(slow.resin, constant(293.15, 3 * DAY), duration=3 * DAY)
    assert float(band(many["tack_free"]).early[0]) >= 0.995 * 10.39 * HOUR


@pytest.mark.parametrize("hours", [5, 6, 7, 9])
def test_a_film_is_told_tack_free_no_sooner_than_its_sheet_says(hours: int, tmp_path: Path) -> None:
    """However near to the film's own time: told from its own conversion it is 20 % sooner, at least."""
    file = tmp_path / "sheet.toml"
    file.write_text(SLOW.replace("hours = [9, 12]", f"hours = {hours}"), encoding="utf-8")
    found = fit(read_maker_sheet(file), BASE)
    assert marks(found.resin, 20.0).tack_free >= 0.995 * hours * HOUR
    many = milestone_times(found.resin, constant(293.15, 3 * DAY), duration=3 * DAY)
    assert float(band(many["tack_free"]).early[0]) >= 0.995 * hours * HOUR
    (said,) = (each for each in found.met if each.title.startswith("tack-free"))
    assert (said.verdict, said.pull < -1.0) == ("kept", True)
    unheld = replace(found.resin, milestones=replace(found.resin.milestones, touch=None))
    assert marks(unheld, 20.0).tack_free < 0.82 * hours * HOUR


def steady(surface: float) -> Weather:
    """Three days at one temperature, 64 times. [K]"""
    time = 900.0 * np.arange(4 * 72)
    at = np.full((64, time.size), surface)
    return dressed(time, at, at, np.full(at.shape, 800.0))


@pytest.mark.parametrize(("surface", "measured"), [(293.15, None), (293.15, 303.15), (283.15, 293.15)])
def test_the_heat_of_a_layer_shortens_no_stated_wait(surface: float, measured: float | None) -> None:
    """Tack-free by hand after 16 h at 20 degC: the advice has it at the surface's temperature, and sanding.

    Without the statement a layer that a probe measured 10 K warmer is tack-free and firm sooner.
    """
    waits = {"touch": 16 * HOUR, "touch_temperature": 293.15, "sand": 24 * HOUR, "sand_temperature": 293.15}
    slowed = float(age_rate(BASE, np.float64(surface), 293.15))
    bare = steady(surface)
    own = None if measured is None else History(bare.time, steady(measured).surface_temperature)
    stated, unstated = (
        course(each, bare, np.array([0]), chosen=[Lot(each, 1.0)], rest=0.0, measured=own, ahead=3 * DAY)
        for each in (replace(BASE, milestones=replace(BASE.milestones, **waits)), BASE)
    )
    assert float(stated.ready_to_sand[0, 0]) >= 0.999 * 24 * HOUR / slowed
    for name in ("set", "firm"):
        assert float(getattr(stated, name)[0, 0]) >= 0.999 * 16 * HOUR / slowed, name
        assert float(getattr(unstated, name)[0, 0]) < 0.9 * 16 * HOUR / slowed, name


def test_a_wait_that_outlasts_what_is_followed_is_no_stall() -> None:
    """Tack-free after three days by hand, followed for two: it is not set, and it does not stall."""
    waits = replace(BASE.milestones, touch=3 * DAY, touch_temperature=293.15)
    seen = course(replace(BASE, milestones=waits), steady(293.15), np.array([0]), chosen=[Lot(BASE, 1.0)])
    assert np.isnan(seen.set).all()
    assert not seen.glassy.any()


@pytest.mark.long
@pytest.mark.parametrize("thickness", [3e-3, 6e-3])
def test_a_thick_layer_keeps_the_wait_that_its_sheet_states(thickness: float) -> None:
    """`cure` on a layer that warms itself: likely as well as early."""
    waits = replace(BASE.milestones, touch=10 * HOUR, touch_temperature=293.15)
    laid = Buildup(thickness, load_substrate("foam"))
    found = outcome(replace(BASE, milestones=waits), constant(293.15, 3 * DAY), buildup=laid)
    assert float(found.marks["tack_free"].early) >= 0.999 * 10 * HOUR
    assert float(found.marks["firm"].early) >= 0.999 * 10 * HOUR


def test_what_is_kept_stands_in_the_file(slow: SheetFit, tmp_path: Path) -> None:
    """Written and loaded again."""
    file = tmp_path / "slow.toml"
    file.write_text(as_toml(slow.resin, "epoxy-slow", slow.changed, "Demo"), encoding="utf-8")
    again = load_resin(file).milestones
    assert again.touch == pytest.approx(slow.resin.milestones.touch)
    assert again.recoat_from == pytest.approx(slow.resin.milestones.recoat_from)


def test_a_sanding_time_before_it_is_firm_is_no_floor() -> None:
    """Three hours where the rest says nine: named, and not passed over as caution."""
    film = marks(BASE, 20.0)
    said = (
        Statement("gel", film.gel, 0.15, 293.15),
        Statement("tack_free", film.tack_free, 0.18, 293.15),
        Statement("firm", 0.5 * film.tack_free, 0.10, 293.15),
    )
    last = fit(typed(said), BASE).met[-1]
    assert last.verdict == "NOT met"
    assert last.foretold is not None


def test_a_stated_glass_transition_is_met_through_the_diffusion_constant() -> None:
    """45 degC after a week at 20: within 2 K by how fast a glass cures on, with the highest Tg left alone."""
    film = marks(BASE, 20.0)
    week = Transition(318.15, 2.0, ((7 * DAY, 293.15),))
    sheet = replace(typed((Statement("gel", film.gel, 0.15, 293.15),)), transitions=(week,))
    found = fit(sheet, BASE)
    assert found.met[-1].computed == pytest.approx(318.15, abs=2.0)
    reached = cure(found.resin, constant(293.15, 7 * DAY)).glass_transition[-1]
    assert float(reached) == pytest.approx(318.15, abs=2.0)
    moved = np.log(found.resin.kinetics.diffusion / BASE.kinetics.diffusion)
    assert abs(moved) > 0.2
    assert found.resin.network.full == pytest.approx(BASE.network.full, abs=1.0)


@pytest.mark.long
def test_the_form_itself_is_met(tmp_path: Path) -> None:
    """The example, with two glass transitions, has nothing to be looked at again."""
    file = tmp_path / "sheet.toml"
    file.write_text(form_text(), encoding="utf-8")
    found = fit(read_maker_sheet(file), BASE)
    assert all(each.foretold is None and each.verdict != "NOT met" for each in found.met)
