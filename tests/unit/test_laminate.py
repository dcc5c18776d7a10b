"""The thick laminate against SciPy's tight solver, and the laws it keeps."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.film.film import History, constant
from curewatch.model.mass.laminate import (
    CELLS,
    SUBSTRATE_CELLS,
    LaminateLayer,
    laminate,
    layers_in_one_go,
    matter,
)
from curewatch.physics.heat_balance import STILL_AIR
from curewatch.units import HOUR, FloatArray
from tests.published.cure_equations import law

DAY = 24 * HOUR


def tight_peak(name: str, thickness: float, air: float, substrate: Substrate) -> float:
    """Hottest place of the laminate by LSODA at 1e-8, with conduction written out by hand. [K]"""
    resin = load_resin(name)
    stuff = matter(resin)
    widths = np.concatenate([
        np.full(SUBSTRATE_CELLS, substrate.thickness / SUBSTRATE_CELLS),
        np.full(CELLS, thickness / CELLS),
    ])  # fmt: skip
    wood = np.arange(widths.size) < SUBSTRATE_CELLS
    conductivity = np.where(wood, substrate.conductivity, stuff.conductivity)
    capacity = widths * np.where(
        wood, substrate.density * substrate.heat_capacity, stuff.density * stuff.heat_capacity
    )
    resistance = widths / conductivity

    def rate(_: float, state: FloatArray) -> FloatArray:
        progress, warmth = state[:CELLS], state[CELLS:]
        flux = np.zeros(widths.size + 1)
        flux[1:-1] = (warmth[:-1] - warmth[1:]) / (0.5 * (resistance[:-1] + resistance[1:]))
        flux[0] = (air - warmth[0]) / (1.0 / STILL_AIR + 0.5 * resistance[0])
        flux[-1] = (warmth[-1] - air) / (1.0 / STILL_AIR + 0.5 * resistance[-1])
        speed = law(resin, progress, warmth[SUBSTRATE_CELLS:])
        warming = (flux[:-1] - flux[1:]) / capacity
        warming[SUBSTRATE_CELLS:] += stuff.rise * np.where(progress > 0.0, speed, 0.0)
        return np.concatenate([speed, warming])

    start = np.concatenate([np.full(CELLS, -resin.kinetics.inhibitor), np.full(widths.size, air)])
    found = solve_ivp(rate, (0.0, DAY), start, method="LSODA", rtol=1e-8, atol=1e-8, max_step=120.0)
    return float(found.y[CELLS + SUBSTRATE_CELLS :].max())


@pytest.mark.parametrize(
    ("name", "thickness", "air", "substrate"),
    [
        ("epoxy-fast", 0.006, 293.15, "plywood"),
        ("epoxy-laminating", 0.008, 296.15, "foam"),
        ("polyester-laminating", 0.008, 293.15, "old-laminate"),
        pytest.param("epoxy-slow", 0.010, 291.15, "plywood", marks=pytest.mark.long),
    ],
)
def test_the_peak_agrees_with_a_tight_solver(name: str, thickness: float, air: float, substrate: str) -> None:
    """Peak temperature within 0.5 K of SciPy over a day."""
    under = load_substrate(substrate)
    found = laminate(load_resin(name), [LaminateLayer(0.0, thickness)], constant(air, DAY), under)
    assert found.peak_temperature == pytest.approx(tight_peak(name, thickness, air, under), abs=0.5)


def tight_peak_of_layers(name: str, layers: list[LaminateLayer], air: float, substrate: Substrate) -> float:
    """The same for layers of one cell thickness laid over time, each at the temperature of the air. [K]"""
    resin, cell = load_resin(name), sum(layer.thickness for layer in layers) / CELLS
    stuff = matter(resin)
    wide = substrate.thickness / SUBSTRATE_CELLS
    warmth, progress, peak = np.full(SUBSTRATE_CELLS, air), np.empty(0), air
    ends = [layer.at for layer in layers[1:]] + [DAY]
    for layer, end in zip(layers, ends, strict=True):
        count = round(layer.thickness / cell)
        warmth = np.append(warmth, np.full(count, air))
        progress = np.append(progress, np.full(count, -resin.kinetics.inhibitor))
        cells = progress.size
        widths = np.append(np.full(SUBSTRATE_CELLS, wide), np.full(cells, cell))
        wood = np.arange(widths.size) < SUBSTRATE_CELLS
        resistance = widths / np.where(wood, substrate.conductivity, stuff.conductivity)
        capacity = widths * np.where(
            wood, substrate.density * substrate.heat_capacity, stuff.density * stuff.heat_capacity
        )
        between = 0.5 * (resistance[:-1] + resistance[1:])
        edges = [1.0 / STILL_AIR + 0.5 * resistance[place] for place in (0, -1)]

        def rate(
            _: float,
            state: FloatArray,
            cells: int = cells,
            capacity: FloatArray = capacity,
            between: FloatArray = between,
            edges: list[float] = edges,
        ) -> FloatArray:
            at, heat = state[:cells], state[cells:]
            flux = np.concatenate([
                [(air - heat[0]) / edges[0]],
                (heat[:-1] - heat[1:]) / between,
                [(heat[-1] - air) / edges[1]],
            ])  # fmt: skip
            speed = law(resin, at, heat[SUBSTRATE_CELLS:])
            warming = (flux[:-1] - flux[1:]) / capacity
            warming[SUBSTRATE_CELLS:] += stuff.rise * np.where(at > 0.0, speed, 0.0)
            return np.concatenate([speed, warming])

        found = solve_ivp(
            rate,
            (layer.at, end),
            np.append(progress, warmth),
            method="LSODA",
            rtol=1e-7,
            atol=1e-8,
            max_step=120.0,
        )
        progress, warmth = found.y[:cells, -1], found.y[cells:, -1]
        peak = max(peak, float(found.y[cells + SUBSTRATE_CELLS :].max()))
    return peak


@pytest.mark.parametrize(
    ("name", "layers", "air", "substrate"),
    [
        ("epoxy-fast", [LaminateLayer(0.0, 0.003), LaminateLayer(3600.0, 0.003)], 293.15, "foam"),
        pytest.param(
            "epoxy-fast",
            [LaminateLayer(0.0, 0.004), LaminateLayer(1800.0, 0.004), LaminateLayer(5400.0, 0.002)],
            288.15,
            "plywood",
            marks=pytest.mark.long,
        ),
        pytest.param(
            "epoxy-fast",
            [LaminateLayer(0.0, 0.008), LaminateLayer(5400.0, 0.008)],
            288.15,
            "plywood",
            marks=pytest.mark.long,
        ),
        pytest.param(
            "epoxy-fast",
            [LaminateLayer(0.0, 0.010), LaminateLayer(3000.0, 0.010)],
            295.15,
            "steel",
            marks=pytest.mark.long,
        ),
        pytest.param(
            "vinyl-ester",
            [LaminateLayer(0.0, 0.006), LaminateLayer(2400.0, 0.006)],
            293.15,
            "foam",
            marks=pytest.mark.long,
        ),
    ],
)
def test_the_peak_of_layers_laid_over_time_agrees_with_a_tight_solver(
    name: str, layers: list[LaminateLayer], air: float, substrate: str
) -> None:
    """A cold layer on one that is about to run away: peak within 0.5 K of SciPy, quenched or not."""
    under = load_substrate(substrate)
    found = laminate(load_resin(name), layers, constant(air, DAY), under)
    assert found.peak_temperature == pytest.approx(tight_peak_of_layers(name, layers, air, under), abs=0.5)


names = st.sampled_from(["epoxy-slow", "epoxy-fast", "polyester-laminating", "vinyl-ester"])
substrates = st.sampled_from(["plywood", "foam", "steel", None])


@settings(max_examples=6, deadline=None)
@given(names, substrates, st.floats(0.001, 0.02), st.floats(278.0, 303.0), st.booleans())
def test_energy_closes(name: str, under: str | None, thickness: float, air: float, twice: bool) -> None:
    """Heat made is heat stored and heat given off, within a millionth, also when a layer joins later."""
    layers = [LaminateLayer(0.0, thickness)] + ([LaminateLayer(2 * HOUR, thickness)] if twice else [])
    substrate = load_substrate(under) if under else None
    found = laminate(load_resin(name), layers, constant(air, DAY), substrate)
    assert found.stored + found.given_off == pytest.approx(found.made, rel=1e-6)


@settings(max_examples=4, deadline=None)
@given(names, substrates, st.floats(0.002, 0.02), st.floats(278.0, 303.0))
def test_without_reaction_heat_a_laminate_stays_at_air_temperature(
    name: str, under: str | None, thickness: float, air: float
) -> None:
    """No heat made: every cell keeps the temperature of the air."""
    resin = load_resin(name)
    cold = replace(resin, thermal=replace(resin.thermal, reaction_heat=0.0))
    substrate = load_substrate(under) if under else None
    found = laminate(cold, [LaminateLayer(0.0, thickness)], constant(air, 6 * HOUR), substrate)
    assert np.max(np.abs(found.hottest - air)) < 1e-6


def test_thicker_is_hotter_and_layers_apart_are_cooler() -> None:
    """The same laminate in two goes, hours apart, stays cooler than in one."""
    resin, under = load_resin("epoxy-fast"), load_substrate("foam")
    air = constant(293.15, DAY)
    peaks = [
        laminate(resin, [LaminateLayer(0.0, each)], air, under).peak_temperature
        for each in (0.003, 0.006, 0.012)
    ]
    assert peaks == sorted(peaks)
    apart = laminate(resin, [LaminateLayer(0.0, 0.003), LaminateLayer(5 * HOUR, 0.003)], air, under)
    assert apart.peak_temperature < peaks[1]


def test_layers_in_one_go_is_the_most_that_stays_cool_enough() -> None:
    """One more layer would be too hot, and a colder shed takes at least as many."""
    resin, under = load_resin("epoxy-fast"), load_substrate("foam")
    warm = layers_in_one_go(resin, 0.0008, constant(298.15, DAY), under)
    assert 1 <= warm.layers < 12
    assert warm.peak_temperature <= 343.15 < warm.peak_of_one_more
    assert layers_in_one_go(resin, 0.0008, constant(283.15, DAY), under).layers >= warm.layers


def test_the_air_may_change() -> None:
    """A night that cools makes the laminate gel later than the evening it began in."""
    resin, under = load_resin("epoxy-slow"), load_substrate("plywood")
    cooling = History(np.array([0.0, 6 * HOUR, DAY]), np.array([293.15, 281.15, 281.15]))
    plan = [LaminateLayer(0.0, 0.002)]
    steady = laminate(resin, plan, constant(293.15, DAY), under)
    assert laminate(resin, plan, cooling, under).gel > steady.gel


@pytest.mark.parametrize(
    "layers",
    [
        [],
        [LaminateLayer(10.0, 0.001)],
        [LaminateLayer(0.0, 0.0)],
        [LaminateLayer(0.0, 0.001), LaminateLayer(2 * DAY, 0.001)],
        [LaminateLayer(0.0, 0.5)],
    ],
)
def test_a_plan_that_is_none_is_refused(layers: list[LaminateLayer]) -> None:
    """No layer, not from the start, no thickness, after the end, a block."""
    with pytest.raises(OutOfValidity):
        laminate(load_resin("epoxy-slow"), layers, constant(293.15, DAY))
