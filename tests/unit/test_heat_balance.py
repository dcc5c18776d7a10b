"""Conduction along a row of cells: nothing made, nothing lost, and the exact solution of a slab."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curewatch.errors import OutOfValidity
from curewatch.physics.gelation import conversion_at_viscosity, viscosity_ratio
from curewatch.physics.glass_transition import conversion_at, glass_transition
from curewatch.physics.heat_balance import (
    Chain,
    adiabatic_rise,
    biot,
    conduction,
    in_series,
    shells,
    upright_cylinder,
)
from tests.examples import up_to

positive = st.floats(0.1, 10.0)
loss = st.floats(0.0, 5.0)


@settings(max_examples=up_to(40), deadline=None)
@given(st.integers(1, 12), st.tuples(positive, positive), st.tuples(loss, loss), st.floats(0.01, 100.0))
def test_even_warmth_stays_even_and_heat_is_kept(
    cells: int, inside: tuple[float, float], ends: tuple[float, float], step: float
) -> None:
    """Cells as warm as the outside stay so; otherwise what leaves is what they lose."""
    capacity, link = inside
    chain = Chain(np.full(cells, capacity), np.full(cells - 1, link), np.array(ends))
    moved = conduction(chain).over(step)
    assert moved.spread.sum(axis=1) + moved.pushed.sum(axis=1) == pytest.approx(np.ones(cells))
    warm, outside = np.linspace(300.0, 340.0, cells), np.array([280.0, 290.0])
    after = moved.spread @ warm + moved.pushed @ outside
    left = float(moved.drain @ warm + moved.drain_outside @ outside)
    assert float((warm - after) @ chain.capacity) == pytest.approx(left, rel=1e-8, abs=1e-6)


def test_outsides_that_rise_in_a_straight_line_are_followed() -> None:
    """One cell by hand: of a kelvin in an e-folding it has 1/e at the end. Five by many small steps."""
    one = conduction(Chain(np.array([200.0]), np.empty(0), np.array([1.0, 1.0])))
    assert one.risen(100.0) == pytest.approx([math.exp(-1.0)])
    assert one.risen(1e9) == pytest.approx([1.0], abs=2e-7)
    five = conduction(Chain(np.full(5, 30.0), np.full(4, 0.7), np.array([0.4, 2.0])))
    small, warm = five.over(0.01), np.zeros(5)
    for at in np.arange(5e-5, 1.0, 1e-4).tolist():
        warm = small.spread @ warm + small.pushed @ np.array([at, at])
    assert five.risen(100.0) == pytest.approx(warm, rel=1e-4)


def test_a_cooling_slab_follows_fourier() -> None:
    """The middle of a slab with well cooled faces falls as the first terms of Fourier's series say."""
    radius, conductivity, heat_capacity = 0.01, 0.2, 2e6
    chain = shells(radius, 40, 0, heat_capacity=heat_capacity, conductivity=conductivity, transfer=1e9)
    seconds = 400.0
    moved = conduction(chain).over(seconds)
    found = float((moved.spread @ np.ones(40))[0])  # outside at 0, slab at 1
    fourier = conductivity / heat_capacity * seconds / radius**2
    series = sum(
        4.0 / math.pi * (-1) ** n / (2 * n + 1) * math.exp(-((2 * n + 1) ** 2) * math.pi**2 / 4.0 * fourier)
        for n in range(20)
    )
    assert found == pytest.approx(series, abs=2e-3)


def test_simple_balances() -> None:
    """Rise, Biot number, the cup as high as wide, conductances in series."""
    assert adiabatic_rise(420e3, 1900.0) == pytest.approx(221.05, abs=0.01)
    assert biot(10.0, 0.01, 0.2) == pytest.approx(0.5)
    diameter, area = upright_cylinder(1e-4)
    assert math.pi / 4 * diameter**3 == pytest.approx(1e-4)
    assert area == pytest.approx(1.5 * math.pi * diameter**2)
    assert in_series(2.0, 2.0) == pytest.approx(1.0)
    assert in_series(2.0, 0.0) == 0.0
    with pytest.raises(OutOfValidity):
        upright_cylinder(0.0)


@given(st.floats(0.0, 1.0), st.floats(190.0, 280.0), st.floats(310.0, 430.0), st.floats(0.2, 0.95))
def test_conversion_and_glass_transition_round_trip(
    conversion: float, uncured: float, full: float, shape: float
) -> None:
    """The two directions of DiBenedetto's relation undo each other."""
    there = float(glass_transition(conversion, uncured, full, shape))
    assert float(conversion_at(there, uncured, full, shape)) == pytest.approx(conversion, abs=1e-9)


@pytest.mark.parametrize("below", [90.0, 130.0, 1000.0])
def test_far_below_the_fresh_mix_conversion_is_held_before_its_pole(below: float) -> None:
    """By hand: y of -0.5 L / (1 - L) gives -1 / (1 - L). With L of 0.4 the pole lies 100 K below here."""
    found = conversion_at(240.0 - below, 240.0, 390.0, 0.4)
    assert float(found) == pytest.approx(-1.0 / 0.6)


@pytest.mark.parametrize(("shape", "expected"), [(1.0, -0.6), (1.1, -0.5172413793)])
def test_a_straight_or_hollow_relation_has_no_pole_below(shape: float, expected: float) -> None:
    """By hand: y / (L + (1 - L) y) with y of -0.6."""
    assert float(conversion_at(150.0, 240.0, 390.0, shape)) == pytest.approx(expected)


@given(st.floats(1.01, 50.0), st.floats(0.05, 0.7))
def test_viscosity_and_conversion_round_trip(ratio: float, gel: float) -> None:
    """The conversion at which the mix is so many times as thick, and back; never as far as gel."""
    conversion = conversion_at_viscosity(ratio, gel, 1.5, 1.0)
    assert conversion < gel
    assert float(viscosity_ratio(conversion, gel, 1.5, 1.0)) == pytest.approx(ratio, rel=1e-6)
