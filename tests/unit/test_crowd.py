"""Many films at once agree with one film at a time, and their bands mean what they say."""

from dataclasses import replace

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.materials.resin import Covariance
from curewatch.model.film.ensemble import TOGETHER, band, cures, milestone_times
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.lots import Lot, lots, rate_factors, shared_out
from curewatch.model.film.milestones import crossing, glass_reached, milestones
from curewatch.units import HOUR
from tests.published.cure_equations import film as integrated

RNG_SEED = 5
SLACK = {"epoxy-slow": 90.0, "epoxy-fast": 45.0, "polyester-laminating": 45.0}  # s, at most a fifth of a step


def weather(members: int, hours: float = 96.0) -> History:
    """Days and nights with a wandering offset."""
    time = np.arange(0.0, hours * HOUR + 1.0, 900.0)
    rng = np.random.default_rng(RNG_SEED)
    drift = np.cumsum(rng.normal(0.0, 0.1, (members, time.size)), axis=1)
    return History(time, 284.15 + 6.0 * np.sin(2 * np.pi * time / (24 * HOUR)) + drift)


def test_the_flow_map_agrees_with_a_tight_solver() -> None:
    """Conversion of every member stays within 1e-4 of SciPy at 1e-10; many more in a long test."""
    resin, history = load_resin("epoxy-fast"), weather(2, 36.0)
    crowd = cures(resin, history, [Lot(resin, 1.0)])
    for member in range(2):
        expected = integrated(resin, History(history.time, history.temperature[member]), crowd.time)
        assert np.max(np.abs(crowd.conversion[member] - expected)) < 1e-4


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
            glass = crossing(film.time, film.conversion - glass_reached(resin, film.temperature), 0.0)
            for name_of_mark, found in times.items():
                expected = glass if name_of_mark == "glass" else getattr(alone, name_of_mark)
                slack = SLACK[name] * (3 if name_of_mark == "glass" else 1)  # it moves with the temperature
                assert found[row, member] == pytest.approx(expected, abs=slack, nan_ok=True)


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
    assert found.likely[0] / found.early[0] == pytest.approx(np.exp(1.645 * resin.rate_sd), rel=0.03)
    assert found.late[0] / found.likely[0] == pytest.approx(np.exp(1.645 * resin.rate_sd), rel=0.03)
    sure = band(milestone_times(replace(resin, rate_sd=0.01), constant(293.15, 72 * HOUR))["gel"])
    assert sure.late[0] - sure.early[0] < 0.1 * (found.late[0] - found.early[0])


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
    assert found.early[0] == found.late[0]


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
    crowd = History(history.time, np.tile(history.temperature, (16, 1)))
    several = lots(resin)
    together = cures(resin, crowd, several)
    for member, lot in enumerate(several):
        alone = cure(resin, History(history.time, history.temperature[0]), rate_factor=lot.factor)
        whole = np.isin(np.round(alone.time, 6), np.round(together.time, 6))
        there = np.isin(np.round(together.time, 6), np.round(alone.time, 6))
        assert whole.sum() > 100
        difference = together.conversion[member, there] - alone.conversion[whole]
        assert np.max(np.abs(difference)) < 1.5e-4


def test_a_crowd_walks_in_groups_and_each_film_goes_as_it_would_alone() -> None:
    """Cold and warm members, walked apart, pass every mark when each of them would by itself."""
    resin = load_resin("epoxy-slow")
    time = np.arange(0.0, 72 * HOUR + 1.0, 900.0)
    paths = np.linspace(276.0, 304.0, 192)[::-1, None] + 3.0 * np.sin(2 * np.pi * time / 86400.0)
    own, starts = [Lot(resin, 1.0)], 900.0 * np.arange(100)
    assert starts.size * paths.shape[0] >= 2 * TOGETHER
    together = milestone_times(resin, History(time, paths), starts=starts, chosen=own)
    for member in (0, 70, 191):
        alone = milestone_times(resin, History(time, paths[member : member + 1]), starts=starts, chosen=own)
        for name, when in together.items():
            np.testing.assert_allclose(when[:, member], alone[name][:, 0], atol=0.5, err_msg=name)
