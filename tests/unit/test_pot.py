"""The pot against SciPy's tight solver, and the laws it keeps."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from curewatch.errors import OutOfValidity
from curewatch.materials import Resin, load_resin
from curewatch.model.film.milestones import crossing
from curewatch.model.mass.pot import CELLS, body, pot, pots
from curewatch.physics.heat_balance import shells
from curewatch.units import HOUR, FloatArray
from tests.published.cure_equations import law

CASES = [
    ("epoxy-fast", 0.1, 298.15),
    ("epoxy-slow", 0.35, 293.15),
    ("polyester-laminating", 0.35, 293.15),
    ("epoxy-laminating", 0.1, 283.15),
]


def tight(resin: Resin, mass: float, air: float, cells: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Time, progress (cells, n) and temperature (cells, n) of a cup by LSODA at 1e-9."""
    form, thermal = body(resin, mass), resin.thermal
    rise = thermal.reaction_heat / thermal.heat_capacity
    chain = shells(
        form.radius, cells, 2,
        heat_capacity=thermal.density * thermal.heat_capacity,
        conductivity=form.conductivity if cells > 1 else 1e9,
        transfer=10.0,
    )  # fmt: skip

    def rate(_: float, state: FloatArray) -> FloatArray:
        progress, temperature = state[:cells], state[cells:]
        speed = law(resin, progress, temperature)
        flow = np.zeros(cells)
        passed = chain.link * np.diff(temperature)
        flow[:-1] += passed
        flow[1:] -= passed
        flow[-1] -= chain.ends[1] * (temperature[-1] - air)
        return np.concatenate([speed, rise * np.where(progress > 0.0, speed, 0.0) + flow / chain.capacity])

    start = np.concatenate([np.full(cells, -resin.kinetics.inhibitor), np.full(cells, air)])
    found = solve_ivp(rate, (0.0, 6 * HOUR), start, method="LSODA", rtol=1e-9, atol=1e-9, max_step=60.0)
    return found.t, found.y[:cells], found.y[cells:]


@pytest.mark.parametrize(("name", "mass", "air"), CASES)
def test_a_lumped_pot_agrees_with_a_tight_solver(name: str, mass: float, air: float) -> None:
    """Peak within 0.5 K and gel within a few seconds, through the runaway."""
    resin = load_resin(name)
    found = pot(resin, mass, air, grid=False)
    time, progress, temperature = tight(resin, mass, air, 1)
    assert found.peak_temperature == pytest.approx(temperature.max(), abs=0.5)
    assert found.pot_life == pytest.approx(crossing(time, progress[0], resin.milestones.gel), abs=5.0)


@pytest.mark.parametrize(("name", "mass", "air"), CASES)
def test_a_pot_of_shells_agrees_with_a_tight_solver(name: str, mass: float, air: float) -> None:
    """Mean peak within 0.5 K, the middle within 1 K, gel within a few seconds."""
    resin = load_resin(name)
    found = pot(resin, mass, air, grid=True)
    time, progress, temperature = tight(resin, mass, air, CELLS)
    edge = np.linspace(0.0, 1.0, CELLS + 1) ** 3
    assert found.peak_temperature == pytest.approx((np.diff(edge) @ temperature).max(), abs=0.5)
    assert found.middle.max() == pytest.approx(temperature[0].max(), abs=1.0)
    for mark, moment in (
        (resin.milestones.gel, found.pot_life),
        (resin.milestones.open, found.working_life),
    ):
        assert moment == pytest.approx(crossing(time, progress.max(axis=0), mark), abs=5.0)


def test_many_pots_agree_with_one_at_a_time() -> None:
    """Members with their own step give what each pot gives alone."""
    resin = load_resin("epoxy-fast")
    mass, air = np.array([0.02, 0.1, 0.3, 0.5]), np.array([283.15, 298.15, 288.15, 303.15])
    together = pots(resin, mass, air, rate_factor=np.array([1.0, 0.8, 1.2, 1.0]))
    for member, factor in enumerate((1.0, 0.8, 1.2, 1.0)):
        alone = pot(resin, float(mass[member]), float(air[member]), rate_factor=factor, grid=False)
        assert together.pot_life[member] == pytest.approx(alone.pot_life, abs=3.0)
        assert together.working_life[member] == pytest.approx(alone.working_life, abs=3.0)
        assert together.peak_temperature[member] == pytest.approx(alone.peak_temperature, abs=0.5)


names = st.sampled_from(["epoxy-slow", "epoxy-fast", "polyester-laminating", "vinyl-ester"])
airs = st.floats(278.0, 303.0)


@settings(max_examples=10, deadline=None)
@given(
    names, airs, st.floats(0.01, 0.5), st.floats(1.05, 4.0), st.sampled_from(["cup", "tray", "roller-tray"])
)
def test_more_mass_is_never_slower_to_kick(
    name: str, air: float, mass: float, more: float, shape: str
) -> None:
    """At equal shape a larger mass keeps its heat better, so it gels no later."""
    resin = load_resin(name)
    small, large = (pot(resin, each, air, shape=shape).pot_life for each in (mass, mass * more))
    assert np.isnan(small) or large <= small + 5.0


@settings(max_examples=10, deadline=None)
@given(names, airs, st.floats(0.01, 0.5), st.booleans())
def test_without_reaction_heat_a_pot_stays_at_air_temperature(
    name: str, air: float, mass: float, grid: bool
) -> None:
    """No heat made, no rise: the pot is a film."""
    resin = load_resin(name)
    cold = replace(resin, thermal=replace(resin.thermal, reaction_heat=0.0))
    found = pot(cold, mass, air, grid=grid)
    assert np.max(np.abs(found.temperature - air)) < 1e-9


@settings(max_examples=8, deadline=None)
@given(names, airs, st.floats(0.02, 0.3), st.booleans())
def test_all_heat_of_an_insulated_pot_is_stored_in_it(name: str, air: float, mass: float, grid: bool) -> None:
    """Without loss the rise is reaction heat x conversion / heat capacity, within 0.1 %."""
    resin = load_resin(name)
    found = pot(resin, mass, air, transfer=0.0, grid=grid)
    made = resin.thermal.reaction_heat / resin.thermal.heat_capacity * found.conversion[-1]
    assert found.temperature[-1] - air == pytest.approx(made, rel=1e-3)


@settings(max_examples=8, deadline=None)
@given(names, airs, st.floats(0.02, 0.4), st.sampled_from(["cup", "tray", "roller-tray"]))
def test_heat_made_is_heat_stored_and_heat_given_off(name: str, air: float, mass: float, shape: str) -> None:
    """Through a runaway with its losses the balance closes within 0.1 % of the heat made."""
    resin = load_resin(name)
    found = pot(resin, mass, air, shape=shape, grid=False)
    made = resin.thermal.reaction_heat / resin.thermal.heat_capacity * found.conversion[-1]
    lost = body(resin, mass, shape).loss * float(np.trapezoid(found.temperature - air, found.time))
    assert found.temperature[-1] - air + lost == pytest.approx(made, rel=1e-3, abs=1e-6)


def test_a_full_cup_kicks_long_before_a_film_and_smokes() -> None:
    """The number on a label is a mass number: 500 g in a cup is another matter than a thin tray."""
    resin = load_resin("epoxy-fast")
    cup, tray = (pot(resin, 0.5, 298.15, shape=shape) for shape in ("cup", "roller-tray"))
    assert cup.pot_life < tray.pot_life
    assert cup.overheats


@pytest.mark.parametrize("mass", [0.0, -1.0, 100.0, float("nan")])
def test_a_mass_that_is_none_is_refused(mass: float) -> None:
    """Nothing, less than nothing, a drum, not a number."""
    with pytest.raises(OutOfValidity, match="mass"):
        pot(load_resin("epoxy-slow"), mass, 293.15)
