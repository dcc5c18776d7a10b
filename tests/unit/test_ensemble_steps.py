"""Many films at once agree with one film at a time, and their bands mean what they say."""

import ctypes
import subprocess
import sys
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.materials.resin import Covariance
from curewatch.materials.substrate import load_substrate
from curewatch.model.film import early as before_diffusion
from curewatch.model.film import ensemble, ensemble_steps, heated_stepping, under_way
from curewatch.model.film.ensemble import band, cures, milestone_times
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.equivalent_temperature import on_rows, warmth
from curewatch.model.film.film import Cure, History, constant, cure
from curewatch.model.film.heated_stepping import Ageing
from curewatch.model.film.lots import Lot, lots, rate_factors, shared_out, turn_of
from curewatch.model.film.milestones import closing_conversion, crossing, glass_reached, milestones
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer, laminate
from curewatch.units import HOUR, FloatArray
from tests.published.cure_equations import film as integrated

RNG_SEED = 5
SLACK = {
    "epoxy-slow": 90.0,
    "epoxy-fast": 45.0,
    "polyester-laminating": 45.0,
}  # s, what a film's straight lines err by


def weather(members: int, hours: float = 96.0) -> History:
    """Days and nights with a wandering offset."""
    time = np.arange(0.0, hours * HOUR + 1.0, 900.0)
    rng = np.random.default_rng(RNG_SEED)
    drift = np.cumsum(rng.normal(0.0, 0.1, (members, time.size)), axis=1)
    return History(time, 284.15 + 6.0 * np.sin(2 * np.pi * time / (24 * HOUR)) + drift)


@pytest.mark.long
def test_the_flow_map_agrees_with_a_tight_solver() -> None:
    """Conversion of every member stays within 1e-4 of SciPy at 1e-10; many more in a long test."""
    resin, history = load_resin("epoxy-fast"), weather(2, 36.0)
    ensemble = cures(resin, history, [Lot(resin, 1.0)])
    for member in range(2):
        expected = integrated(resin, History(history.time, history.temperature[member]), ensemble.time)
        assert np.max(np.abs(ensemble.conversion[member] - expected)) < 1e-4


@pytest.mark.parametrize("name", sorted(SLACK))
def test_marks_of_many_starts_agree_with_single_films(name: str) -> None:
    """Any start and member gives the milestones that the film integrator gives for it alone."""
    resin, history = load_resin(name), weather(6)
    starts = np.array([0.0, 3600.0, 20 * HOUR])
    lot = Lot(resin, 0.8)
    times = milestone_times(resin, history, starts=starts, chosen=[lot])
    for row, start in enumerate(starts):
        keep = (history.time >= start) & (history.time <= start + 72 * HOUR)
        for member in range(6):
            path = History(history.time[keep] - start, history.temperature[member, keep])
            film = cure(resin, path, rate_factor=0.8)
            alone = milestones(resin, film)
            moving = {
                mark: crossing(film.time, film.conversion - level(resin, film.temperature), 0.0)
                for mark, level in (("glass", glass_reached), ("closes", closing_conversion))
            }
            for name_of_mark, found in times.items():
                expected = moving[name_of_mark] if name_of_mark in moving else getattr(alone, name_of_mark)
                assert found[row, member] == pytest.approx(expected, abs=SLACK[name], nan_ok=True)


@pytest.mark.long
@pytest.mark.parametrize("name", ["epoxy-slow", "polyester-laminating"])
@pytest.mark.few(1)
def test_marks_told_by_age_have_the_conversion_that_was_asked(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within 1e-4 by SciPy at 1e-10; a film that goes by its age into the glass misses it."""
    resin, history = load_resin(name), weather(2, 60.0)
    asked = {"early": 0.2, "later": 0.77}

    def worst() -> float:
        times = milestone_times(resin, history, chosen=[Lot(resin, 1.0)], conversions=asked, only=asked)
        return max(
            abs(
                integrated(resin, History(history.time, row), np.array([0.0, times[mark][0, member]]))[-1]
                - wanted
            )
            for mark, wanted in asked.items()
            for member, row in enumerate(history.temperature)
        )

    assert worst() < 1e-4
    monkeypatch.setattr(before_diffusion, "LEFT_OUT", 1e9)
    assert worst() > 3e-4


def test_a_mark_never_reached_is_later_than_all() -> None:
    """A band over outcomes of which some never come has no late end, rather than a wrong one."""
    found = band(np.array([[1.0, 2.0, 3.0, 4.0, np.nan, np.nan]]))
    assert np.isfinite(found.early[0])
    assert np.isnan(found.late[0])


def test_bands_hold_the_lot_and_the_weather() -> None:
    """At one steady temperature the band of gel is the band of the lot's rate, and no less."""
    resin = load_resin("epoxy-slow")
    times = milestone_times(resin, constant(293.15, 72 * HOUR))["gel"]
    found = band(times)
    assert found.likely[0] / found.early[0] == pytest.approx(np.exp(1.2816 * resin.rate_sd), rel=0.03)
    assert found.late[0] / found.likely[0] == pytest.approx(np.exp(1.2816 * resin.rate_sd), rel=0.03)
    sure = band(milestone_times(replace(resin, rate_sd=0.01), constant(293.15, 72 * HOUR))["gel"])
    assert sure.late[0] - sure.early[0] < 0.1 * (found.late[0] - found.early[0])


@pytest.mark.long
def test_a_fits_covariance_widens_the_band() -> None:
    """What a fit left uncertain is carried into the times, and the middle stays where it was."""
    resin = replace(load_resin("epoxy-slow"), rate_sd=0.02)
    vague = replace(
        resin, covariance=Covariance(("kinetics.k2", "kinetics.energy_2"), ((0.09, 0.0), (0.0, 4e6)))
    )
    sharp, wide = (band(milestone_times(each, constant(283.15, 72 * HOUR))["gel"]) for each in (resin, vague))
    assert wide.late[0] - wide.early[0] > 3.0 * (sharp.late[0] - sharp.early[0])
    assert wide.likely[0] == pytest.approx(sharp.likely[0], rel=0.15)


def test_lots_are_the_same_every_time_and_shared_out_evenly() -> None:
    """No roll of the dice: the same question has the same answer."""
    resin = load_resin("epoxy-fast")
    assert lots(resin) == lots(resin)
    counts = np.bincount(shared_out(64, 16))
    assert counts.min() == counts.max() == 4
    assert np.exp(np.mean(np.log(rate_factors(resin)))) == pytest.approx(1.0)


def test_starts_must_be_whole_steps() -> None:
    """A start between two steps is refused rather than moved in silence."""
    with pytest.raises(OutOfValidity, match="whole steps"):
        milestone_times(load_resin("epoxy-slow"), weather(2), starts=[100.0])


def test_a_lot_that_is_known_exactly_has_no_band() -> None:
    """Without any spread early, likely and late are one."""
    sure = replace(load_resin("epoxy-slow"), rate_sd=0.0)
    found = band(milestone_times(sure, constant(293.15, 48 * HOUR))["gel"])
    assert found.early[0] == pytest.approx(found.late[0], rel=1e-12)


@pytest.mark.long
def test_an_uncertain_inhibitor_widens_the_band_of_gel() -> None:
    """Lots may begin with more or less inhibitor than the system says."""
    resin = replace(load_resin("polyester-laminating"), rate_sd=0.01)
    vague = replace(resin, covariance=Covariance(("kinetics.inhibitor",), ((0.09,),)))
    sharp, wide = (band(milestone_times(each, constant(293.15, 6 * HOUR))["gel"]) for each in (resin, vague))
    assert wide.late[0] - wide.early[0] > 3.0 * (sharp.late[0] - sharp.early[0])
    assert wide.likely[0] == pytest.approx(sharp.likely[0], rel=0.1)


@pytest.mark.parametrize("name", ["epoxy-fast", "epoxy-slow"])
def test_lots_that_share_one_integration_cure_as_each_would_alone(name: str) -> None:
    """Sixteen rate factors through one table give what the film gives for each."""
    resin = load_resin(name)
    history = weather(1, 48.0)
    ensemble = History(history.time, np.tile(history.temperature, (16, 1)))
    several = lots(resin)
    together = cures(resin, ensemble, several)
    for member, lot in enumerate(several):
        alone = cure(resin, History(history.time, history.temperature[0]), rate_factor=lot.factor)
        whole = np.isin(np.round(alone.time, 6), np.round(together.time, 6))
        there = np.isin(np.round(together.time, 6), np.round(alone.time, 6))
        assert whole.sum() > 60
        difference = together.conversion[member, there] - alone.conversion[whole]
        assert np.max(np.abs(difference)) < 1.5e-4


@pytest.mark.long
@pytest.mark.parametrize("name", ["epoxy-slow", "vinyl-ester"])
def test_what_stands_still_is_followed_by_the_hour(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A month in a shed: what a step of a quarter of an hour gives, within 2e-4 and 0.05 K."""
    resin, history = load_resin(name), weather(1, 720.0)
    ensemble = History(history.time, np.atleast_2d(history.temperature))
    found = cures(resin, ensemble, [Lot(resin, 1.0)])
    monkeypatch.setattr(ensemble_steps, "STILL", 0.0)
    fine = cures(resin, ensemble, [Lot(resin, 1.0)])
    assert found.time.size < 0.5 * fine.time.size
    for ours, theirs, allowed in (
        (found.conversion, fine.conversion, 2e-4),
        (found.glass_transition, fine.glass_transition, 0.05),
    ):
        assert np.abs(np.interp(fine.time, found.time, ours[0]) - theirs[0]).max() < allowed


def post_cured(days: float, at: float, rise: float) -> History:
    """A shed in which a layer is warmed for twelve hours, by 5 K an hour."""
    history = weather(1, days * 24.0)
    hours = (history.time - at * 86400.0) / HOUR
    extra = np.clip(np.minimum(hours, 12.0 - hours) * 5.0, 0.0, rise)
    return History(history.time, history.temperature + extra)


@pytest.mark.long
def test_a_post_cure_after_still_days_is_followed_in_short_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 3e-4 of steps of a quarter of an hour. The control: kept in long steps it misses by 1e-3."""
    resin, history = load_resin("epoxy-slow"), post_cured(11.0, 9.0, 25.0)

    def stepped(still: float, restless: float) -> Cure:
        monkeypatch.setattr(ensemble_steps, "STILL", still)
        monkeypatch.setattr(ensemble_steps, "RESTLESS", restless)
        return cures(resin, history, [Lot(resin, 1.0)])

    def missed(found: Cure) -> float:
        return float(np.abs(np.interp(fine.time, found.time, found.conversion[0]) - fine.conversion[0]).max())

    fine = stepped(0.0, 1.0)
    assert missed(stepped(0.0003, 0.0006)) < 3e-4
    assert missed(stepped(0.0003, 1.0)) > 1e-3


@pytest.mark.long
@pytest.mark.parametrize("name", ["epoxy-slow", "vinyl-ester", "epoxy-fast"])
def test_what_was_post_cured_gains_nothing_in_the_cold(name: str) -> None:
    """Far past its glass it stands still. No end of it in the table does not mean that it is there."""
    resin, history = load_resin(name), post_cured(4.0, 1.0, 30.0)
    found = cures(resin, history, [Lot(resin, 1.0)])
    warm, cold = (np.interp(day * 86400.0, found.time, found.conversion[0]) for day in (1.45, 4.0))
    assert warm < 0.99
    assert 0.0 <= cold - warm < 2e-3


def test_each_film_of_an_ensemble_goes_as_it_would_alone() -> None:
    """Cold and warm members pass every mark when each of them would by itself."""
    resin = load_resin("epoxy-slow")
    time = np.arange(0.0, 72 * HOUR + 1.0, 900.0)
    paths = np.linspace(276.0, 304.0, 192)[::-1, None] + 3.0 * np.sin(2 * np.pi * time / 86400.0)
    own, starts = [Lot(resin, 1.0)], 900.0 * np.arange(100)
    together = milestone_times(resin, History(time, paths), starts=starts, chosen=own)
    for member in (0, 70, 191):
        alone = milestone_times(resin, History(time, paths[member : member + 1]), starts=starts, chosen=own)
        for name, when in together.items():
            np.testing.assert_allclose(when[:, member], alone[name][:, 0], atol=0.5, err_msg=name)


@pytest.mark.long
def test_starts_on_a_warm_layer_in_one_walk_are_told_as_alone() -> None:
    """Twelve starts on one warm layer, in one stepping: each has the times of itself alone."""
    resin, below = load_resin("epoxy-fast"), load_substrate("foam")
    time = np.arange(0.0, 60 * HOUR, 900.0)
    paths = History(time, 290.0 + 4.0 * np.sin(2 * np.pi * time / (24 * HOUR))[None])
    starts, laid = 1800.0 * np.arange(2, 14), 900.0

    def asked(some: FloatArray) -> dict[str, FloatArray]:
        before = (LaminateLayer(laid - float(some[0]), 0.004),)
        heat = Heat(Buildup(0.0016, below, before=before), paths.temperature)
        return milestone_times(resin, paths, starts=some, chosen=[Lot(resin, 1.0)], heat=heat)

    together = asked(starts)
    alone = [asked(starts[at : at + 1]) for at in range(starts.size)]
    for name in ("working_time", "gel", "tack_free", "firm", "peak"):
        one = np.array([each[name][0, 0] for each in alone])
        assert np.allclose(together[name][:, 0], one, rtol=1e-3), name
    assert together["gel"][0, 0] < 0.9 * together["gel"][-1, 0]


@pytest.mark.long
def test_layers_that_run_away_gel_when_the_laminate_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 4 %, for their own heat sets their steps. The control: in steps of 450 s one misses 17 %."""
    resin, below = load_resin("epoxy-fast"), load_substrate("foam")
    cases = [(0.0024, 303.15), (0.005, 304.15), (0.008, 304.15)]
    expected = [
        laminate(resin, [LaminateLayer(0.0, thick)], constant(warmth, 4 * HOUR), below).gel
        for thick, warmth in cases
    ]

    def worst() -> float:
        gels = [
            milestone_times(
                resin,
                History(np.array([0.0, 72 * HOUR]), np.full((1, 2), warmth)),
                chosen=[Lot(resin, 1.0)],
                heat=Heat(Buildup(thick, below)),
                only=("gel", "peak"),
            )
            for thick, warmth in cases
        ]
        assert min(float(each["peak"][0, 0]) for each in gels) > 373.15
        return float(max(abs(one["gel"][0, 0] / gel - 1.0) for one, gel in zip(gels, expected, strict=True)))

    assert worst() < 0.04
    monkeypatch.setattr(heated_stepping, "OWN_LIMIT", np.inf)
    assert worst() > 0.15


def gel_misses(layer: Buildup, warmth: FloatArray, step: float, patch: pytest.MonkeyPatch) -> float:
    """How far gel of epoxy-slow in such steps is from that in steps of 14 s, at worst. [K, s] -> [1]"""
    time, resin = np.linspace(0.0, 8 * HOUR, warmth.shape[1]), load_resin("epoxy-slow")

    def gel(each: float) -> FloatArray:
        patch.setattr(ensemble_steps.Ensemble, "short", each)
        lot, heat = [Lot(resin, 1.0)], Heat(layer, warmth)
        return milestone_times(resin, History(time, warmth), chosen=lot, heat=heat, only=("gel",))["gel"]

    return float(np.max(np.abs(gel(step) / gel(14.0625) - 1.0)))


def test_a_warm_layer_gels_in_long_steps_when_it_does_in_short_ones(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 0.12 % up to 38 degC. Control: heat spread evenly over a step, at its mean, misses 0.4 %."""
    warmth = np.array(
        [[296.0, 303.0, 298.0], [300.0, 309.0, 303.0], [311.0, 311.0, 311.0], [293.0, 306.0, 311.0]]
    )
    layer = Buildup(0.0024, load_substrate("plywood"))
    assert gel_misses(layer, warmth, 450.0, monkeypatch) < 1.2e-3
    monkeypatch.setattr(heated_stepping, "MOST_GROWTH", 0.0)
    monkeypatch.setattr(heated_stepping, "HASTENED", np.inf)
    assert gel_misses(layer, warmth, 450.0, monkeypatch) > 4e-3


def test_a_layer_that_runs_away_within_a_step_gels_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 0.5 %, by the law along its warming. The control: a parabola through its edges misses 1.5 %."""
    layer, warmth = Buildup(0.005, load_substrate("foam")), np.linspace(303.0, 307.0, 9)[:, None] * np.ones(2)
    assert gel_misses(layer, warmth, 225.0, monkeypatch) < 5e-3
    monkeypatch.setattr(under_way, "SUDDEN", (np.inf, np.inf))
    assert gel_misses(layer, warmth, 225.0, monkeypatch) > 1.5e-2


@pytest.mark.parametrize("thickness", [None, 0.0016, 0.005])
def test_a_walk_in_small_parties_tells_what_one_of_all_tells(
    thickness: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Films and layers that wait for room, and start between two long steps: same marks, same peak."""
    resin, history = load_resin("polyester-laminating"), weather(3, 30.0)
    layer = None if thickness is None else Buildup(thickness, load_substrate("plywood"))
    heat = None if layer is None else Heat(layer, history.temperature)
    starts = 450.0 * np.array([0, 1, 2, 7, 20, 50])

    def told() -> dict[str, FloatArray]:
        return milestone_times(resin, history, starts=starts, chosen=[Lot(resin, 1.0)], heat=heat)

    together = told()
    monkeypatch.setattr(under_way, "AT_ONCE", 5)
    monkeypatch.setattr(under_way, "TOLD_AT_ONCE", 4)
    for name, when in told().items():
        np.testing.assert_allclose(when, together[name], rtol=1e-6, err_msg=name)
    assert np.isfinite(together["gel"]).all()


def test_a_layer_whose_heat_capacity_does_not_rise_is_told_like_one_where_it_hardly_does() -> None:
    """Its moving marks and its peak go by the warmth of what is stored, which no rounding may move by 1 K."""
    history = weather(2, 96.0)
    heat = Heat(Buildup(0.0024, load_substrate("plywood")), history.temperature)

    def told(rise: float) -> dict[str, FloatArray]:
        resin = load_resin("epoxy-slow")
        resin = replace(resin, thermal=replace(resin.thermal, heat_capacity_rise=rise))
        return milestone_times(resin, history, chosen=[Lot(resin, 1.0)], heat=heat)

    still, hardly = told(0.0), told(1e-4)
    for name, when in still.items():
        np.testing.assert_allclose(when, hardly[name], rtol=2e-3, err_msg=name)
    assert np.isfinite(still["firm"]).all()


def test_a_layer_that_ages_by_its_sheet_goes_on_in_long_steps_once_it_is_calm(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its age never stands still; by its progress it is calm as soon as one without a sheet is."""
    resin, history = load_resin("epoxy-slow"), weather(2, 96.0)
    steps, real = list[int](), under_way.UnderWay._steps

    def counted(self: under_way.UnderWay, these: slice, number: int) -> None:
        steps.append(number)
        real(self, these, number)

    monkeypatch.setattr(under_way.UnderWay, "_steps", counted)

    def taken(ageing: Ageing | None) -> int:
        steps.clear()
        layer = Buildup(0.0016, load_substrate("plywood"))
        heat = Heat(layer, history.temperature, ageing)
        milestone_times(resin, history, chosen=[Lot(resin, 1.0)], heat=heat)
        return sum(steps)

    assert taken(Ageing(50e3, 293.15, 3600.0)) == taken(None)


def test_a_layer_that_only_ages_ages_with_its_surface(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once cool and past all else: within 0.4 % of what short steps to the end give."""
    resin, history = load_resin("vinyl-ester"), weather(3, 96.0)
    layer = Buildup(0.0024, load_substrate("foam"))
    heat = Heat(layer, history.temperature, Ageing(resin.kinetics.energy_2, 293.15, 20 * HOUR))

    def aged() -> FloatArray:
        return milestone_times(resin, history, starts=[0.0, 9000.0], chosen=[Lot(resin, 1.0)], heat=heat)[
            "aged"
        ]

    told = aged()
    monkeypatch.setattr(ensemble_steps, "CALM_FROM", 2.0)
    np.testing.assert_allclose(told, aged(), rtol=4e-3)
    assert np.isfinite(told).all()


def test_what_a_step_meets_is_the_mean_and_the_spread_of_its_path() -> None:
    """Points anywhere, several in a step; the middle of a step alone would be off by half a kelvin."""
    time = np.array([0.0, 130.0, 500.0, 1000.0, 1013.0, 1080.0, 2300.0])
    paths = 290.0 + np.random.default_rng(RNG_SEED).uniform(-4.0, 4.0, (3, time.size))
    history, edge = History(time, paths), 450.0 * np.arange(6.0)
    met = warmth(history, edge, on_rows(history, edge), 7000.0)
    off = 0.0
    for step in range(5):
        inner = edge[step] + 450.0 * (np.arange(9000) + 0.5) / 9000
        for member, path in enumerate(paths):
            kelvin = np.interp(inner, time, path)
            assert met.mean[step, member] == pytest.approx(kelvin.mean(), abs=1e-4)
            assert met.variance[step, member] == pytest.approx(kelvin.var(), abs=1e-4)
            off = max(off, abs(kelvin[4500] - kelvin.mean()))
    assert off > 0.5


@pytest.mark.parametrize("level", [closing_conversion, glass_reached])
def test_no_film_is_passed_over_by_the_lowest_that_a_moving_mark_can_be(level: ensemble_steps.Level) -> None:
    resin, rng = load_resin("epoxy-slow"), np.random.default_rng(RNG_SEED)
    grid = np.arange(275.0, 320.0, 0.25)
    mark = under_way.Mark(level(resin, grid), grid[0], 0.25)
    for _ in range(200):
        coldest, warmest = np.sort(rng.uniform(272.0, 324.0, 2))  # beyond the grid at both ends, too
        at = mark.at(rng.uniform(coldest, warmest, 500).astype(np.float32))
        found = mark.lowest(coldest - 1e-4, warmest + 1e-4)
        assert (at >= found).all()
        assert coldest < 275.0 or found > at.min() - 0.01


class Garbage(ctypes.Structure):
    """Signalling numbers that are none; handed over by value they are left on the stack."""

    _fields_ = (("words", ctypes.c_uint32 * 16384),)


@pytest.mark.parametrize("rows", [2, 3])
def test_the_step_of_a_single_layer_warns_of_nothing(rows: int) -> None:
    """Whatever memory holds that nobody wrote: OpenBLAS 0.3.31 reads it with 5 nodes, and does not use it."""
    matrix, state = np.ones((rows, 5), np.float32), np.ones((5, 1), np.float32)
    left = ctypes.CDLL(None).labs
    left.argtypes, left.restype = [Garbage], None
    garbage = Garbage((ctypes.c_uint32 * 16384)(*[0x7FA00001] * 16384))

    def warns(product: Callable[..., Any]) -> bool:
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            left(garbage)
            assert (product(matrix, state) == 5.0).all()
        return bool(told)

    if not warns(np.dot):  # the control
        pytest.skip("numpy's product reads no such memory here")
    assert not warns(heated_stepping._times)


def test_marks_at_one_conversion_are_looked_for_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A polyester carries the next layer once it gels: that is one level, and both names have its times."""
    asked: list[int] = []
    passed = ensemble.passed

    def counted(*args: Any) -> ensemble_steps.Passed:
        asked.append(args[3].conversions.size)
        return passed(*args)

    monkeypatch.setattr(ensemble, "passed", counted)
    resin, only = load_resin("polyester-laminating"), ("working_time", "recoat_from", "gel", "firm")
    found = milestone_times(resin, weather(64), only=only)
    assert (list(found), asked) == ([*only], [2])
    assert np.isfinite(found["gel"]).all()
    assert np.array_equal(found["gel"], found["recoat_from"])
    assert (found["working_time"] < found["gel"]).all()


def test_the_order_of_an_outlooks_members_is_the_generators() -> None:
    """It is kept, so that a command need not import the generator."""
    drawn = np.random.default_rng(11).permutation(256)
    assert np.array_equal(turn_of(256, 1), drawn)
    assert np.array_equal(shared_out(256, 16), drawn % 16)
    assert sorted(turn_of(100, 1)) == list(range(100))


def test_sharing_lots_out_loads_no_generator(tmp_path: Path) -> None:
    """Of random numbers: 10 ms and 2 MB for an order that is known."""
    code = (
        "import sys; from curewatch.model.film.lots import shared_out; shared_out(256, 16);"
        " sys.exit('numpy.random' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=False, timeout=60)
    assert done.returncode == 0
