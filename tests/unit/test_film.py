"""The film integrator against SciPy's tight solver, and the laws it keeps."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.units import HOUR, FloatArray
from tests.published.cure_equations import film as integrated

PATHS = {
    "warm and steady": lambda hours: 298.15 + 0.0 * hours,
    "cold and steady": lambda hours: 281.15 + 0.0 * hours,
    "evening that cools": lambda hours: 281.15 + 10.0 * np.exp(-hours / 5.0),
    "days and nights": lambda hours: 285.15 + 7.0 * np.sin(2 * np.pi * hours / 24.0),
    "heater on and off": lambda hours: 283.15 + 9.0 * (np.floor(hours / 6.0) % 2),
    "below freezing, then a warm tent": lambda hours: np.where(hours < 20.0, 270.15, 303.15),
}


def history_of(path: str, every: float = 600.0) -> History:
    time = np.arange(0.0, 72 * HOUR + 1, every)
    return History(time, np.asarray(PATHS[path](time / HOUR), dtype=float))


@pytest.mark.parametrize("path", sorted(PATHS))
@pytest.mark.parametrize(
    "name", ["epoxy-fast", "polyester-laminating", pytest.param("epoxy-slow", marks=pytest.mark.long)]
)
def test_a_film_agrees_with_a_tight_solver(name: str, path: str) -> None:
    """Conversion is within 1e-4 of SciPy at 1e-10 over 72 h."""
    resin, history = load_resin(name), history_of(path)
    film = cure(resin, history)
    expected = np.maximum(integrated(resin, history, film.time), 0.0)
    assert np.max(np.abs(film.conversion - expected)) < 1e-4


steady = st.floats(268.0, 308.0)
names = st.sampled_from(["epoxy-slow", "epoxy-low-blush", "polyester-topcoat", "vinyl-ester"])


@settings(max_examples=25, deadline=None)
@given(names, st.lists(steady, min_size=8, max_size=8), st.floats(0.5, 2.0))
def test_conversion_never_falls(name: str, temperatures: list[float], factor: float) -> None:
    """Whatever the weather, cure only goes forward and stays within 0..1."""
    history = History(np.linspace(0.0, 48 * HOUR, 8), np.array(temperatures))
    film = cure(load_resin(name), history, rate_factor=factor)
    assert np.all(np.diff(film.progress) >= 0.0)
    assert np.all((film.conversion >= 0.0) & (film.conversion <= 1.0))


@settings(max_examples=25, deadline=None)
@given(names, steady, st.floats(0.5, 15.0))
def test_warmer_is_never_slower(name: str, temperature: float, more: float) -> None:
    """A warmer film is at least as far at every time, and no milestone comes later."""
    resin = load_resin(name)
    times = np.linspace(0.0, 36 * HOUR, 200)
    cool, warm = (cure(resin, constant(temperature + add, 36 * HOUR)) for add in (0.0, more))

    def at(film: Cure) -> FloatArray:
        return np.interp(times, film.time, film.progress)

    assert np.all(at(warm) >= at(cool) - 2e-4)
    early, late = milestones(resin, warm).gel, milestones(resin, cool).gel
    assert np.isnan(late) or early <= late + 60.0


def test_a_fixed_speed_up_shortens_every_milestone_alike() -> None:
    """Twice the rate factor at a steady temperature halves the gel time exactly."""
    resin = load_resin("epoxy-slow")
    once, twice = (cure(resin, constant(293.15, 40 * HOUR), rate_factor=f) for f in (1.0, 2.0))
    assert milestones(resin, once).gel == pytest.approx(2.0 * milestones(resin, twice).gel, rel=2e-3)


def test_a_cold_film_stalls_and_says_before_what() -> None:
    """With a glass transition that rises early, a cold film turns to glass before it gels."""
    resin = load_resin("epoxy-low-blush")
    stiff = replace(resin, network=replace(resin.network, uncured=253.15, shape=0.6))
    marks = milestones(stiff, cure(stiff, constant(273.15, 72 * HOUR)))
    assert marks.stalled
    assert marks.stall is not None
    assert marks.stall.before == "gel"
    assert np.isnan(marks.firm)


def test_an_inhibited_resin_waits_before_it_cures() -> None:
    """Nothing is converted until the inhibitor is used up; more peroxide uses it up sooner."""
    resin = load_resin("polyester-laminating")
    films = {dose: cure(resin, constant(293.15, 4 * HOUR), peroxide_percent=dose) for dose in (1.0, 2.0, 3.0)}
    assert np.all(films[2.0].conversion[films[2.0].time < 300.0] == 0.0)
    gels = [milestones(resin, film).gel for film in films.values()]
    assert gels[0] > gels[1] > gels[2]


@pytest.mark.parametrize("history", [
    History(np.array([0.0]), np.array([293.15])),
    History(np.array([0.0, 100.0, 50.0]), np.array([293.15, 293.15, 293.15])),
    History(np.array([0.0, 3600.0]), np.array([293.15, np.nan])),
    History(np.array([0.0, 3600.0]), np.array([20.0, 20.0])),
])  # fmt: skip
def test_rubbish_histories_are_refused(history: History) -> None:
    """Too short, backwards, not a number, or degC given for kelvin."""
    with pytest.raises(OutOfValidity):
        cure(load_resin("epoxy-slow"), history)


@pytest.mark.parametrize("name", ["epoxy-fast", "polyester-laminating"])
def test_a_post_cure_after_cold_days_agrees_with_a_tight_solver(name: str) -> None:
    """A film that was a glass for days and is then made hot is not taken for finished."""
    resin = load_resin(name)
    hours = np.array([0.0, 120.0, 121.0, 124.0])
    history = History(hours * HOUR, np.array([278.15, 278.15, 353.15, 353.15]))
    film = cure(resin, history)
    expected = np.maximum(integrated(resin, history, film.time), 0.0)
    assert np.max(np.abs(film.conversion - expected)) < 1e-4
    assert film.conversion[-1] <= 1.0


def test_a_long_hot_time_costs_no_more_than_it_must() -> None:
    """Once nothing fast is left the blocks are long again, also after weeks; warming makes them short."""
    resin = load_resin("epoxy-fast")
    assert cure(resin, constant(353.15, 30 * 24 * HOUR)).time.size < 10_000
    hours = np.array([0.0, 700.0, 701.0, 720.0])
    warmed = cure(resin, History(hours * HOUR, np.array([278.15, 278.15, 353.15, 353.15])))
    inside = (warmed.time > 701.0 * HOUR) & (warmed.time < 701.2 * HOUR)
    assert inside.sum() > 5
