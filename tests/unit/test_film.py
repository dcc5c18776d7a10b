"""The film integrator against SciPy's tight solver, and the laws it keeps."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.model.film import film as integrator
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.units import HOUR, FloatArray
from tests.examples import up_to
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


@settings(max_examples=up_to(25), deadline=None)
@given(names, st.lists(steady, min_size=8, max_size=8), st.floats(0.5, 2.0))
def test_conversion_never_falls(name: str, temperatures: list[float], factor: float) -> None:
    """Whatever the weather, cure only goes forward and stays within 0..1."""
    history = History(np.linspace(0.0, 48 * HOUR, 8), np.array(temperatures))
    film = cure(load_resin(name), history, rate_factor=factor)
    assert np.all(np.diff(film.progress) >= 0.0)
    assert np.all((film.conversion >= 0.0) & (film.conversion <= 1.0))


@settings(max_examples=up_to(25), deadline=None)
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


@pytest.mark.parametrize("kelvin", [353.15, 373.15])
@pytest.mark.parametrize("name", ["epoxy-fast", "polyester-topcoat", "vinyl-ester"])
def test_a_fresh_film_in_the_heat_agrees_with_a_tight_solver(name: str, kelvin: float) -> None:
    """It is through within a minute, and there it is followed as closely as over days in a shed."""
    resin, history = load_resin(name), constant(kelvin, HOUR)
    film = cure(resin, history)
    expected = np.maximum(integrated(resin, history, film.time), 0.0)
    assert np.max(np.abs(film.conversion - expected)) < 1e-4


def test_a_long_hot_time_costs_no_more_than_it_must() -> None:
    """Once nothing fast is left the blocks are long again, also after weeks; warming makes them short."""
    resin = load_resin("epoxy-fast")
    assert cure(resin, constant(353.15, 30 * 24 * HOUR)).time.size < 10_000
    hours = np.array([0.0, 700.0, 701.0, 720.0])
    warmed = cure(resin, History(hours * HOUR, np.array([278.15, 278.15, 353.15, 353.15])))
    inside = (warmed.time > 701.0 * HOUR) & (warmed.time < 701.2 * HOUR)
    assert inside.sum() > 5


# ---- the parts, by hand


@pytest.mark.parametrize(
    ("time", "temperature"),
    [
        ([1.0, 3600.0], [293.15, 293.15]),
        ([0.0, 60.0, 60.0], [293.15, 293.15, 293.15]),
        ([0.0, 3600.0], [293.15, 293.15, 293.15]),
        ([[0.0, 3600.0]], [293.15, 293.15]),
        ([0.0, 3600.0], [[293.15, 293.15], [293.15, 293.15]]),
    ],
)
def test_a_history_begins_at_nought_and_rises_and_is_one_path(time: object, temperature: object) -> None:
    """Two points are enough for it."""
    resin = load_resin("epoxy-slow")
    with pytest.raises(OutOfValidity):
        cure(resin, History(np.array(time), np.array(temperature)))
    assert cure(resin, History(np.array([0.0, 60.0]), np.array([293.15, 293.15]))).time[-1] == 60.0


def test_a_history_that_begins_late_is_refused_by_its_first_time() -> None:
    """What is named is what is wrong. Points may be half a second apart and less."""
    close = History(np.array([0.0, 0.4, 3600.0]), np.array([293.15, 293.15, 293.15]))
    assert cure(load_resin("epoxy-slow"), close).time[-1] == 3600.0
    with pytest.raises(OutOfValidity, match=r"paths of the history is 3\b"):
        cure(load_resin("epoxy-slow"), History(np.array([0.0, 3600.0]), np.full((3, 2), 293.15)))
    with pytest.raises(OutOfValidity, match=r"time of the history in s is 7\b"):
        cure(load_resin("epoxy-slow"), History(np.array([7.0, 3600.0]), np.array([293.15, 293.15])))


def test_without_more_words_a_film_is_fresh_and_of_the_usual_lot() -> None:
    """And one that has begun begins there."""
    resin, history = load_resin("polyester-laminating"), constant(293.15, 2 * HOUR)
    plain, asked = cure(resin, history), cure(resin, history, conversion=0.0, rate_factor=1.0)
    assert np.array_equal(plain.progress, asked.progress)
    assert plain.progress[0] == -resin.kinetics.inhibitor
    assert cure(resin, history, conversion=0.3).progress[0] == 0.3


def test_blocks_are_half_an_hour_and_shorter_where_it_swings() -> None:
    """A rest of less than a second goes to the last; of 2 K a block one is enough, of 3 and 4 K two."""
    assert integrator._edges(constant(293.15, 3600.9)).tolist() == [0.0, 1800.0, 3600.9]
    assert integrator._edges(constant(293.15, 3601.1)).tolist()[-2:] == [3600.0, 3601.1]
    time = 1800.0 * np.arange(6)
    swinging = History(time, np.array([290.0, 292.0, 289.0, 293.0, 297.25, 297.25]))
    expected = [0.0, 1800.0, 2700.0, 3600.0, 4500.0, 5400.0, 6000.0, 6600.0, 7200.0, 9000.0]
    assert integrator._edges(swinging) == pytest.approx(np.array(expected))


def test_temperatures_of_many_paths_are_straight_between_their_points() -> None:
    """And stay as they end."""
    history = History(np.array([0.0, 100.0, 300.0]), np.array([[280.0, 290.0, 280.0], [300.0, 300.0, 310.0]]))
    found = integrator.at_times(history, np.array([0.0, 50.0, 100.0, 150.0, 300.0, 400.0]))
    expected = [[280.0, 285.0, 290.0, 287.5, 280.0, 280.0], [300.0, 300.0, 300.0, 302.5, 310.0, 310.0]]
    assert found == pytest.approx(np.array(expected))


def test_a_block_is_met_as_a_straight_line_of_its_mean_and_slope() -> None:
    """Of 2 + 3 x itself; of x squared 1/3 in the middle and 1 from end to end. At 0 and 2/3."""
    x = integrator.WITHIN
    assert x == pytest.approx(np.arange(13) / 12.0)
    assert (2.0 + 3.0 * x) @ integrator.LINES == pytest.approx([2, 4, 2, 8 / 3, 3, 11 / 3, 4, 14 / 3])
    assert x**2 @ integrator.LINES[:, :2] == pytest.approx([-1 / 6, 1 / 2])
    assert x[::3] ** 2 @ integrator._line(4) == pytest.approx([-1 / 6, 1 / 2])
    o = np.linspace(-1.0, 1.0, 13)  # a cube, by the first moment of its trapezes
    slope = np.trapezoid(o**4, o) / np.trapezoid(o**2, o)
    assert o**3 @ integrator._line(12) == pytest.approx([-slope, slope / 3.0])
    kinked = np.maximum(x - 1 / 3, 0.0)  # straight within each third
    assert kinked @ integrator.LINES[:, 2:] == pytest.approx([0, 0, 0, 2 / 9, 1 / 3, 5 / 9])
    met = [1.0, 10.0, 0.0, 3.0, 10.0, 6.0]
    assert integrator._part(met, 0.5, 0.5) == pytest.approx([2.5, 10.0, 4.5, 3.5, 10.0, 7.5])


@pytest.mark.parametrize(
    ("first", "last", "left", "noted"),
    [
        (1e-5, 1e-5, 0.0, (1900.0, -0.001)),
        (2e-5, 2e-5, 4 / 9, (1500.0, 0.0)),
        (1e-5, 3e-5, 0.4103760, (1530.66, 0.0)),
    ],
)
def test_an_inhibitor_is_gone_where_what_was_used_is_all_there_was(
    first: float, last: float, left: float, noted: tuple[float, float]
) -> None:
    """Of 0.01 in a quarter of an hour that ends at 1900 s, at rates at 0 and at 2/3 of it."""
    track = integrator._Track(lambda _, rate, *__: rate, (), -0.01)
    met = [first, 0.0, 293.15, last, 0.0, 293.15]
    assert track._waited(-0.01, 1900.0, 900.0, met) == pytest.approx(left, abs=1e-6)
    assert (track.time[-1], track.progress[-1]) == pytest.approx(noted, rel=1e-5, abs=1e-12)


@pytest.mark.parametrize(("speed", "expected"), [(1e-5, 0.10806365935), (5e-7, 0.100404908875)])
def test_a_step_goes_by_heuns_third_order(speed: float, expected: float) -> None:
    """By hand: 900 s from 0.1, at a rate of ``speed`` x what is left. A slow one skips its middle stage."""
    track = integrator._Track(lambda a, rate, *_: rate * (1.0 - a), (), 0.1)
    met = [speed, 0.0, 293.15] * 2
    assert track.stride(0.1, 900.0, 900.0, met) == pytest.approx(expected, abs=1e-11)
    assert (track.time, track.progress[1:]) == ([0.0, 900.0], [pytest.approx(expected, abs=1e-11)])


@pytest.mark.parametrize(("falls", "told"), [(0.98, []), (0.95, [0.5]), (0.75, [0.25, 0.5, 0.75])])
def test_points_within_a_step_are_told_where_a_straight_line_would_miss_them(
    falls: float, told: list[float]
) -> None:
    """900 s from 0.3 at 2e-5 1/s, two thirds on at a share of it: on the parabola of those two rates."""
    track = integrator._Track(lambda _, rate, *__: rate, (), 0.3)
    track.stride(0.3, 900.0, 900.0, [2e-5, 0.0, 293.15, 2e-5 * falls, 0.0, 293.15])
    share = np.array([0.0, *told, 1.0])
    assert track.time == pytest.approx(900.0 * share)
    assert track.progress == pytest.approx(0.3 + 0.018 * (share - 0.75 * (1.0 - falls) * share**2))


def test_a_block_in_which_an_inhibitor_goes_is_taken_in_thirds() -> None:
    """A rate that rises from 1e-5 to 4e-5, whatever the progress: its integral is 0.0225 over 900 s."""
    x = integrator.WITHIN
    met = np.stack([1e-5 + 3e-5 * x[None], np.zeros((1, 13)), np.full((1, 13), 293.15)])
    track = integrator._Track(lambda _, rate, *__: rate, integrator._lines(met)[:, 1:], -0.01)
    assert track.thirds(-0.01, 900.0, 900.0, 0) == pytest.approx(0.0125, abs=1e-12)
    assert [*track.time[:3], track.time[-1]] == pytest.approx([0.0, 300.0, 530.66, 900.0], abs=0.01)
    assert 600.0 in track.time
    assert track.progress[:3] == pytest.approx([-0.01, -0.0055, 0.0], abs=1e-12)


def scripted(*rates: float) -> tuple[Callable[..., float], list[tuple[float, ...]]]:
    """These rates one after the other, and none besides; and what each was asked for."""
    left, asked = iter(rates), list[tuple[float, ...]]()

    def rate(*of: float) -> float:
        asked.append(of)
        return next(left)

    return rate, asked


@pytest.mark.parametrize(
    ("begin", "gain", "stages"),
    [
        *((0.5, 0.99 * 2e-3, 2), (0.5, 2e-3, 3), (0.5, 1.01 * 2e-3, 3)),
        *((0.0625, 0.99 * 0.00125, 2), (0.0625, 0.02 * 0.0625, 3), (0.0625, 1.01 * 0.00125, 3)),
    ],
)
def test_a_step_skips_its_middle_stage_only_where_it_is_slow(begin: float, gain: float, stages: int) -> None:
    """It gains less than 0.002, and than a fiftieth of what there is. Of 512 s."""
    rate, asked = scripted(*[gain / 512.0] * stages)
    integrator._Track(rate, (), begin).stride(begin, 512.0, 512.0, [0.0] * 6)
    assert len(asked) == stages


SPLIT = 1000.0 * 2.0**-30


@pytest.mark.parametrize(
    ("begin", "step", "rates", "told"),
    [
        (0.5, 512.0, (0.0, integrator.CURVED / 512.0), 0),
        (0.0, 512.0, (0.0, integrator.BENT / 1024.0, 0.0), 0),
        (0.5, 512.0, (5e-5, 4.25e-5, integrator.FALLING * 5e-5), 3),
        (0.01, 512.0, (SPLIT, SPLIT, SPLIT + 2.0**-30), 0),
        (0.5, 0.1, (0.1, 0.2, 0.1), 0),
        (0.5, 0.1, (0.1, 0.11, 0.12), 0),
        (0.5, 0.1, (0.2, 0.2, 0.0), 0),
    ],
    ids=["bows", "bends", "falls", "grows", "bends, short", "bows, short", "falls, short"],
)
def test_a_step_at_its_very_limit_is_one_step(
    begin: float, step: float, rates: tuple[float, ...], told: int
) -> None:
    """It is not divided, and of a short one nothing within is told."""
    rate, asked = scripted(*rates)
    track = integrator._Track(rate, (), begin)
    track.stride(begin, step, step, [0.0] * 6)
    assert len(asked) == len(rates)
    assert len(track.time) == 2 + told


def test_a_step_that_is_hardly_longer_than_the_shortest_is_divided() -> None:
    """Of 0.11 s, which bends; its halves are steps."""
    rate, asked = scripted(0.1, 0.2, 0.1, *[0.1] * 6)
    track = integrator._Track(rate, (), 0.5)
    track.stride(0.5, 0.11, 0.11, [0.0] * 6)
    assert len(asked) == 9
    assert track.time == pytest.approx([0.0, 0.055, 0.11])


def test_the_middle_stage_meets_what_lies_between_start_and_two_thirds() -> None:
    """Both constants and the temperature, a third of the step on."""
    rate, asked = scripted(1e-5, 2e-5, 3e-5)
    integrator._Track(rate, (), 0.5).stride(0.5, 512.0, 512.0, [1.0, 20.0, 300.0, 3.0, 40.0, 310.0])
    gain = 512.0 * 1e-5
    expected = [(0.5, 1, 20, 300), (0.5 + gain / 3, 2, 30, 305), (0.5 + 4 * gain / 3, 3, 40, 310)]
    assert asked == [pytest.approx(each) for each in expected]


QUARTER_BOWED = 4.0 * integrator.CURVED / 512.0


@pytest.mark.parametrize(
    ("begin", "rates", "grows", "shares"),
    [
        (0.0, (0.9e-3, 0.9e-3), 0.0, []),
        (0.0, (1.1e-3, 1.1e-3), 0.0, [0.5]),
        (0.0, (1e-3, 1e-3), 0.0, [0.5]),
        (0.1, (0.018, 0.018), 12.6, []),
        (0.1, (0.018, 0.018), 14.2, [0.5]),
        (0.1, (0.018, 0.018), -53.0, []),
        (0.1, (0.018, 0.018), -56.0, [0.5]),
        (0.1, (0.009, 0.009 + 3.5e-4), 0.0, []),
        (0.1, (0.009, 0.009 + 4.5e-4), 0.0, [0.5]),
        (0.5, (0.026, 0.026), 0.0, []),
        (0.5, (0.027, 0.027), 0.0, [0.5]),
        (0.01, (4e-4, 8e-4), 0.0, []),
        (0.5, (512.0 * QUARTER_BOWED, 1024.0 * QUARTER_BOWED), 0.0, [0.5]),
        (0.5, (550.0 * QUARTER_BOWED, 1100.0 * QUARTER_BOWED), 0.0, [0.25, 0.5, 0.75]),
    ],
    ids=[
        *("fresh", "fresh, fast", "fresh, at its limit", "grows", "grows more", "bends", "bends more"),
        *("straight", "bowed"),
        *("far", "too far", "bowed, at its limit", "by a quarter", "more"),
    ],
)
def test_a_step_is_divided_where_it_bends_and_told_in_parts_where_it_bows(
    begin: float, rates: tuple[float, float], grows: float, shares: list[float]
) -> None:
    """Of 512 s: at its start and two thirds it gains so much a step; ``grows`` with conversion squared."""
    track = integrator._Track(lambda a, rate, *_: rate * (1.0 + grows * (a - begin) ** 2), (), begin)
    met = [rates[0] / 512.0, 0.0, 293.15, rates[1] / 512.0, 0.0, 293.15]
    track.stride(begin, 512.0, 512.0, met)
    assert track.time[1:-1] == [512.0 * share for share in shares]


def test_the_first_block_of_a_fresh_slow_film_is_one_step() -> None:
    """No inhibitor has to go: there are no thirds, and its middle is told."""
    film = cure(load_resin("epoxy-slow"), constant(268.15, 2 * HOUR), rate_factor=0.05)
    assert film.time[1:3].tolist() == [0.5 * integrator.BLOCK, integrator.BLOCK]


@pytest.mark.parametrize("step", [950.0, 1800.0])
@pytest.mark.parametrize("rate", [2e-7, 2e-6], ids=["creeping", "slow"])
def test_the_middle_of_a_long_step_is_told(rate: float, step: float) -> None:
    """Its time and its conversion, by both rates: a mark may move between. Of a quarter of an hour not."""
    track = integrator._Track(lambda _, rate, *__: rate, (), 0.3)
    track.stride(0.3, step, step, [rate, 0.0, 293.15, 0.99 * rate, 0.0, 293.15])
    share = np.array([0.0, 0.5, 1.0])
    assert track.time == pytest.approx(step * share)
    assert track.progress == pytest.approx(0.3 + step * rate * (share - 0.0075 * share**2), abs=1e-12)
    short = integrator._Track(lambda _, rate, *__: rate, (), 0.3)
    short.stride(0.3, 900.0, 900.0, [rate, 0.0, 293.15, rate, 0.0, 293.15])
    assert short.time == [0.0, 900.0]


def test_the_middle_of_a_step_is_not_beyond_its_end() -> None:
    """Where a slow film cools so fast that hardly any rate is left after two thirds."""
    track = integrator._Track(lambda _, rate, *__: rate, (), 0.3)
    end = track.stride(0.3, 1800.0, 1800.0, [2e-7, 0.0, 293.15, 2e-8, 0.0, 273.15])
    assert track.time == [0.0, 900.0, 1800.0]
    assert track.progress[1] <= end == track.progress[2]
    whole = integrator._Track(lambda _, rate, *__: rate, (), 0.9995)
    assert whole.stride(0.9995, 1800.0, 1800.0, [1e-6, 0.0, 293.15] * 2) == 1.0
    assert whole.progress == [0.9995, 1.0, 1.0]


def test_a_film_that_is_almost_cured_in_the_heat_cures_wholly_and_no_further() -> None:
    """In one step: nothing that could be seen is left of it."""
    track = integrator._Track(lambda a, rate, *_: rate * (1.0 - a), (), 1.0 - 1e-5)
    assert track.stride(1.0 - 1e-5, 128.0, 128.0, [0.02, 0.0, 373.15] * 2) == 1.0
    assert (track.time, track.progress[1:]) == ([0.0, 128.0], [1.0])


def test_a_kink_after_ten_minutes_of_the_first_block_is_met() -> None:
    """As in every other: a rate of nothing that then rises, whose integral is 0.02 over half an hour."""
    x = integrator.WITHIN
    rate = 5e-5 * np.maximum(x - 1 / 3, 0.0)
    met = np.stack([rate[None], np.zeros((1, 13)), np.full((1, 13), 293.15)])
    lines = integrator._lines(met)
    track = integrator._Track(lambda _, rate, *__: rate, lines[:, 1:], 0.1)
    assert track.stride(0.1, 1800.0, 1800.0, lines[0, 0].tolist(), 0) == pytest.approx(0.12, abs=1e-12)
    assert {600.0, 1200.0} <= set(track.time)


def test_points_within_a_step_follow_a_rate_that_bends() -> None:
    """Of a rate that is the square of a straight line, its integral; without the bend they miss by 1e-5."""
    first, last, share = 4.472e-3, 4.107e-3, np.array([0.25, 0.5, 0.75, 1.0])
    track = integrator._Track(lambda _, root, *__: root * root, (), 0.3)
    track.stride(0.3, 900.0, 900.0, [first, 0.0, 293.15, last, 0.0, 293.15])
    slope = 1.5 * (last - first)
    whole = first**2 * share + first * slope * share**2 + slope**2 * share**3 / 3.0
    assert track.progress[1:] == pytest.approx((0.3 + 900.0 * whole).tolist(), abs=1e-10)
