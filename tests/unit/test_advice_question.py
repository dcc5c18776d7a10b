"""A question and its answer, from a configuration on."""

import numpy as np
import pytest

from curewatch import configuration
from curewatch.advice.judge.answer import Verdict
from curewatch.advice.judge.question import ask
from curewatch.advice.judge.situation import Place, Situation
from curewatch.errors import UsageError
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.air.past import Past
from curewatch.physics import moist_air
from curewatch.shed.consult import question
from curewatch.shed.look import coming_hours, surfaced

NOW = 1_795_000_000.0


def air(celsius: float = 20.0, humidity: float = 0.4) -> Place:
    kelvin = celsius + 273.15
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    return Place("bench", "air", NOW - 30, kelvin, 0.3, humidity, 0.02, pressure, 30.0)


def past(hours: float, celsius: float) -> Past:
    time = NOW - hours * 3600 + 900.0 * np.arange(int(hours * 4))
    column = np.full(time.size, celsius + 273.15)
    nothing = np.full(time.size, np.nan)
    return Past(time, column, nothing, nothing, nothing, nothing)


def estimate(situation: Situation, substrate: Substrate) -> Place:
    """The surface that the look gives it."""
    found = surfaced(situation, substrate)
    assert found is not None
    return found.surface


def test_defaults_and_a_warm_dry_shed_give_a_go() -> None:
    """With no configuration at all, a probe on the hull and a warm dry shed: go."""
    hull = Place("hull", "surface", NOW - 30, 293.15, 0.3)
    asked = question(configuration.load(None))
    known = surfaced(Situation(NOW, air=air(22.0, 0.35), surface=hull), asked.substrate)
    assert known is not None
    assert ask(asked, known, coming_hours(known, asked.substrate)).verdict is Verdict.GO


def test_the_command_line_s_resin_and_the_file_s_limits_are_used() -> None:
    """What is said now outranks what is configured; the user's own limit reaches the check."""
    text = '[resin]\nname = "epoxy-fast"\nbatch_mass_g = 150\n[limits]\ncondensation_margin_k = 4.5\n'
    asked = question(configuration.parse(text), resin="epoxy-laminating")
    assert asked.resin.name == "epoxy-laminating"
    assert asked.batch_mass == pytest.approx(0.150)
    assert asked.limits.condensation_margin.value == 4.5
    assert asked.limits.condensation_margin.tag == "user's own"


def test_a_peroxide_dose_in_the_file_is_not_given_to_an_epoxy() -> None:
    """It belongs to the polyester on the same shelf."""
    shelf = configuration.parse('[resin]\nname = "polyester-laminating"\nperoxide_percent = 1.5\n')
    assert question(shelf).peroxide_percent == 1.5
    assert question(shelf, resin="epoxy-slow").peroxide_percent is None


def test_an_unknown_resin_is_refused_by_name() -> None:
    """With the names that are known."""
    with pytest.raises(UsageError, match="epoxy-slow"):
        question(configuration.load(None), resin="treacle")


def test_without_a_probe_the_surface_is_estimated_and_its_band_is_wider_without_a_past() -> None:
    """Two days at one temperature leave about 1 K; no past leaves several."""
    wood = load_substrate("plywood")
    bare = estimate(Situation(NOW, air=air()), wood)
    known = estimate(Situation(NOW, air=air(), past=past(48, 20.0)), wood)
    assert bare.estimated
    assert known.estimated
    assert known.temperature == pytest.approx(293.15, abs=0.01)
    assert known.temperature_sd < 1.5 < bare.temperature_sd


def test_a_hull_that_lags_behind_warming_air_is_estimated_colder() -> None:
    """A day at 8 degC, then 20: the surface is not yet there."""
    seen = estimate(Situation(NOW, air=air(), past=past(24, 8.0)), load_substrate("old-laminate"))
    assert seen.temperature is not None
    assert 281.15 < seen.temperature < 293.15


def test_a_probe_is_never_replaced_by_an_estimate() -> None:
    """What is measured stands."""
    hull = Place("hull", "surface", NOW - 30, 285.0, 0.3)
    situation = Situation(NOW, air=air(), surface=hull)
    assert estimate(situation, load_substrate("plywood")) is hull


def test_a_gap_in_the_past_cuts_it() -> None:
    """Only the stretch up to now that no gap of hours breaks is used."""
    broken = past(48, 20.0)
    broken.air_temperature[-22:-7] = np.nan  # on quarter hours
    wood = load_substrate("timber")
    whole = estimate(Situation(NOW, air=air(), past=past(48, 20.0)), wood)
    cut = estimate(Situation(NOW, air=air(), past=broken), wood)
    assert cut.temperature_sd > whole.temperature_sd


def test_no_air_reading_leaves_the_situation_as_it_is() -> None:
    """Nothing is estimated from nothing, and the answer is unknown."""
    bare = Situation(NOW)
    assert surfaced(bare, load_substrate("plywood")) is None
    assert ask(question(configuration.load(None)), bare, None).verdict is Verdict.UNKNOWN
