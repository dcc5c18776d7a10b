"""The thick laminate against SciPy's tight solver, and the laws it keeps."""

import math
from contextlib import nullcontext
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from curewatch.errors import OutOfValidity
from curewatch.materials import load_resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.film.film import History, constant
from curewatch.model.mass import laminate as slabs
from curewatch.model.mass.heated_row import reaction
from curewatch.model.mass.laminate import (
    CELLS,
    SUBSTRATE_CELLS,
    LaminateLayer,
    felt,
    laminate,
    layers_in_one_go,
    matter,
)
from curewatch.physics.heat_balance import transfer_to_air
from curewatch.units import HOUR
from tests.examples import up_to
from tests.published.plate_equations import STEFAN, Plate, Ply

DAY = 24 * HOUR


def tight_peak(name: str, layers: list[LaminateLayer], air: float, substrate: Substrate) -> float:
    """Hottest place by LSODA, on cells like the product's, with conduction written out by hand. [K]"""
    whole = sum(layer.thickness for layer in layers)
    plies = [
        Ply(load_resin(name), layer.thickness, layer.at, round(CELLS * layer.thickness / whole))
        for layer in layers
    ]
    return Plate(plies, substrate, constant(air, DAY), lower=SUBSTRATE_CELLS, loss=told_loss).solved()[1]


def told_loss(face: float, air: float) -> float:
    """The law as it is stated: 1.18 |dT|^(5/4) and 0.9 of a black body. [K] -> [W/m2]"""
    return 0.7 / 0.125**0.25 * abs(face - air) ** 0.25 * (face - air) + 0.9 * STEFAN * (face**4 - air**4)


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
    """Peak temperature over a day within 0.5 K and a hundredth of its rise of SciPy."""
    under = load_substrate(substrate)
    layers = [LaminateLayer(0.0, thickness)]
    found = laminate(load_resin(name), layers, constant(air, DAY), under)
    expected = tight_peak(name, layers, air, under)
    assert found.peak_temperature == pytest.approx(expected, abs=0.5 + 0.01 * (expected - air))


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
    """A cold layer on one that is about to run away: peak as near to SciPy's, quenched or not."""
    under = load_substrate(substrate)
    found = laminate(load_resin(name), layers, constant(air, DAY), under)
    expected = tight_peak(name, layers, air, under)
    assert found.peak_temperature == pytest.approx(expected, abs=0.5 + 0.01 * (expected - air))


names = st.sampled_from(["epoxy-slow", "epoxy-fast", "polyester-laminating", "vinyl-ester"])
substrates = st.sampled_from(["plywood", "foam", "steel", None])


@settings(max_examples=up_to(6), deadline=None)
@given(names, substrates, st.floats(0.001, 0.02), st.floats(278.0, 303.0), st.booleans())
def test_energy_closes(name: str, under: str | None, thickness: float, air: float, twice: bool) -> None:
    """Heat made is heat stored and heat given off, within a millionth, also when a layer joins later."""
    layers = [LaminateLayer(0.0, thickness)] + ([LaminateLayer(2 * HOUR, thickness)] if twice else [])
    substrate = load_substrate(under) if under else None
    found = laminate(load_resin(name), layers, constant(air, DAY), substrate)
    assert found.stored + found.given_off == pytest.approx(found.made, rel=1e-6)


@settings(max_examples=up_to(4), deadline=None)
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


@pytest.mark.long
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


def test_air_whose_time_does_not_rise_is_refused() -> None:
    """A film's law for a history: it holds for a laminate's air."""
    back_and_forth = History(np.array([0.0, 7200.0, HOUR]), np.full(3, 293.15))
    with pytest.raises(OutOfValidity, match="time of the history"):
        laminate(load_resin("epoxy-slow"), plan(), back_and_forth)


@pytest.mark.parametrize("name", ["timber", "steel", "aluminium", "lead"])
def test_the_air_that_a_bare_face_felt_gives_its_temperature_back(name: str) -> None:
    """A very thin, plain layer on it is as warm as the face was, along a night and a heater switched.

    On metal, too, of which a cell is as warm as its face within a thousandth of a second.
    """
    time = np.arange(0.0, DAY + 1.0, 300.0)
    hours = time / HOUR
    skin = 288.15 + 4.0 * np.cos(2 * np.pi * hours / 24) + 5.0 * np.clip(hours - 6.0, 0.0, 1.0)
    surface, under = History(time, skin), load_substrate(name)
    air = felt(surface, under)
    assert np.ptp(air.temperature - skin) > 2.0  # the air changes long before what it warms
    cold = replace(
        load_resin("epoxy-slow"), thermal=replace(load_resin("epoxy-slow").thermal, reaction_heat=1.0)
    )
    found = laminate(cold, [LaminateLayer(0.0, 1e-4)], surface, under, face=air)
    assert np.max(np.abs(found.hottest - np.interp(found.time, time, skin))) < 0.2


def test_a_thin_layer_that_makes_no_heat_is_as_warm_as_the_air_that_changes() -> None:
    """After a heater was switched on, along the hours that cool: it may lag by a minute."""
    slow = load_resin("epoxy-slow")
    cold = replace(slow, thermal=replace(slow.thermal, reaction_heat=1.0))
    air = History(HOUR * np.array([0.0, 1.0, 1.2, 12.0]), np.array([288.15, 288.15, 298.15, 278.15]))
    found = laminate(cold, [LaminateLayer(0.0, 1e-4)], air, cells=1)
    assert np.max(np.abs(found.hottest - np.interp(found.time, *air))[found.time > 1.3 * HOUR]) < 0.1


def test_steps_are_long_only_once_what_was_warm_is_near_to_steady_air() -> None:
    """At most 480 s until then, before its heat comes, too; 1920 s once it is within half a kelvin."""
    resin = load_resin("polyester-laminating")
    found = laminate(resin, [LaminateLayer(0.0, 8e-3)], constant(293.15, 14 * HOUR), cells=2)
    step, warmer = np.diff(found.time)[:-1], found.hottest[:-2] - 293.15
    ahead = found.time[:-2] < found.peak_time
    assert step[ahead].max() <= 480.1
    assert step[~ahead & (warmer > 0.6)].max() <= 480.1
    assert step[~ahead & (warmer < 0.4)].min() > 480.1
    assert step.max() == pytest.approx(1920.0)


def test_where_another_layer_joins_the_steps_before_are_shorter() -> None:
    """It may land on one that is about to run away: a single layer asks for less."""
    single, second = LaminateLayer(0.0, 8e-3), LaminateLayer(2400.0, 1e-3)
    alone, joined = (
        laminate(load_resin("epoxy-fast"), layers, constant(298.15, HOUR), cells=2)
        for layers in ([single], [single, second])
    )
    assert np.sum(alone.time < 2400.0) < np.sum(joined.time < 2400.0)


def test_through_an_insulated_back_all_heat_comes_by_the_face() -> None:
    """Of a face that warms by 0.2 K an hour for days the air gives what a thick timber takes in, to its end.

    Asked about every five minutes. A back in air takes its part, by the transfer of 3 K: where all cells warm
    alike, what passes each link is what the cells behind it take, less what came by the back.
    """
    timber = replace(load_substrate("timber"), thickness=0.1)
    time = np.arange(0.0, 60 * HOUR + 1.0, 300.0)
    surface = History(time, 283.15 + 0.2 * time / HOUR)
    air = felt(surface, timber, insulated=True)
    assert air.time == pytest.approx(time)
    warmer = (air.temperature - surface.temperature)[-3:]
    given = transfer_to_air(warmer, surface.temperature[-3:]) * warmer
    whole = 0.1 * timber.density * timber.heat_capacity * 0.2 / HOUR
    assert given == pytest.approx(whole, rel=1e-3)
    open_back = felt(surface, timber).temperature[-1]
    assert felt(surface, timber, insulated=False).temperature[-1] == open_back < air.temperature[-1]
    warmer = open_back - surface.temperature[-1]
    half = 0.5 * 0.1 / SUBSTRATE_CELLS / timber.conductivity
    mild = transfer_to_air(3.0, float(surface.temperature.mean()))
    # Lost from back to face, and won: q/mild + q half, (whole - q) half, (behind - q) 2 half a link.
    behind = np.arange(1, SUBSTRATE_CELLS) * whole / SUBSTRATE_CELLS
    by_the_back = half * (whole + 2.0 * behind.sum()) / (1.0 / mild + 2.0 * SUBSTRATE_CELLS * half)
    assert transfer_to_air(warmer, surface.temperature[-1]) * warmer == pytest.approx(
        whole - by_the_back, rel=1e-3
    )


def test_what_lies_behind_a_face_was_as_warm_as_it_was_at_first() -> None:
    """An hour of that temperature before it changes nothing."""
    time, timber = np.arange(0.0, 6 * HOUR + 1.0, 300.0), load_substrate("timber")
    warming = History(time, 285.0 + 2.0 * time / HOUR)
    before = History(np.append(0.0, time + HOUR), np.append(285.0, warming.temperature))
    at_once, later = (felt(surface, timber, insulated=True).temperature for surface in (warming, before))
    assert later[:13] == pytest.approx(np.full(13, 285.0), abs=1e-9)
    assert later[12:] == pytest.approx(at_once, abs=1e-3)


def test_heat_by_hand_of_a_single_cell() -> None:
    """Made: what all its resin makes, times what is cured. Stored: its heat capacity, which rises."""
    resin = load_resin("polyester-laminating")
    found = laminate(resin, [LaminateLayer(0.0, 1e-4)], constant(293.15, HOUR), cells=1)
    stuff = matter(resin)
    holds = 1e-4 * stuff.density * stuff.heat_capacity
    first, last = found.bond[[0, -1]] - 298.15
    assert found.slowest[0] == found.quickest[0] == 0.0  # an inhibitor is no conversion
    assert 0.1 < found.slowest[-1] == found.quickest[-1] < 0.4
    assert found.made == pytest.approx(holds * stuff.rise * found.slowest[-1], rel=1e-9)
    stored = holds * (last - first + 0.5 * stuff.bend * (last**2 - first**2))
    assert found.stored == pytest.approx(stored, abs=1e-6)
    assert found.given_off == pytest.approx(found.made - stored, rel=1e-6)


def test_a_layer_that_joins_leaves_the_others_as_they_were() -> None:
    """At that moment the first is as cured and, below, as warm as before; the new one is not cured at all."""
    layers = [LaminateLayer(0.0, 2e-3), LaminateLayer(2400.0, 1e-3)]
    found = laminate(load_resin("epoxy-fast"), layers, constant(293.15, HOUR), load_substrate("plywood"))
    before, after = np.flatnonzero(found.time == 2400.0)
    assert found.quickest[before] == found.quickest[after] > 0.0
    assert found.bond[before] == found.bond[after] > 293.15
    assert found.slowest[before] > found.slowest[after] == 0.0


@pytest.mark.parametrize(("apart", "followed"), [(1.0, 2), (0.875, 1)])
@pytest.mark.parametrize("before", [[], [0.0]])
def test_less_than_a_second_between_two_layers_is_passed_over(
    apart: float, followed: int, before: list[float]
) -> None:
    """A whole second is followed, to the moment in which the next one joins, also later on."""
    first = 60.0 if before else 0.0
    layers = [LaminateLayer(at, 1e-3) for at in (*before, first, first + apart)]
    found = laminate(load_resin("epoxy-slow"), layers, constant(293.15, 600.0), cells=2)
    assert np.sum(found.time == first + apart) == followed


# ---- the parts, by hand


def test_resin_and_glass_together_by_hand() -> None:
    """Half of each by mass: volumes and heats add, conductivities go by their volumes."""
    slow = load_resin("epoxy-slow")
    thermal = replace(
        slow.thermal,
        density=1200.0,
        heat_capacity=2000.0,
        conductivity=0.2,
        reaction_heat=400e3,
        heat_capacity_rise=1e-3,
    )
    resin = replace(slow, thermal=thermal)
    found = matter(resin, 0.5)
    assert found == pytest.approx((1632.0, 1400.0, 0.334734, 142.857, 7.142857e-4), rel=1e-5)
    assert matter(resin) == matter(resin, 0.45)
    assert matter(resin, 0.0) == pytest.approx((1200.0, 2000.0, 0.2, 200.0, 1e-3))
    assert matter(resin, 0.8).rise == pytest.approx(0.2 * 400e3 / (0.8 * 800.0 + 0.2 * 2000.0))
    for fibre in (-0.001, 0.801):
        with pytest.raises(OutOfValidity, match="fibre"):
            matter(resin, fibre)


def test_the_most_layers_are_found_by_halves(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each layer brings ten kelvin: three reach 330 K, and are no hotter than that.

    Where nothing is said twelve are asked about, up to 70 °C, on a back in air.
    """

    def laid(_resin: object, plan: list[LaminateLayer], *_: object, **how: object) -> SimpleNamespace:
        assert (plan[0].at, how["insulated"]) == (0.0, False)
        return SimpleNamespace(peak_temperature=300.0 + 1e4 * plan[0].thickness)

    monkeypatch.setattr(slabs, "laminate", laid)
    resin, air = load_resin("epoxy-slow"), constant(293.15, DAY)
    for hottest, most, expected in (
        (330.0, 12, (3, 330.0, 340.0)),
        (329.9, 12, (2, 320.0, 330.0)),
        (330.0, 3, (3, 330.0, np.nan)),
        (309.9, 12, (0, np.nan, 310.0)),
        (999.0, 40, (40, 700.0, np.nan)),
        (310.0, 1, (1, 310.0, np.nan)),
    ):
        found = layers_in_one_go(resin, 1e-3, air, hottest=hottest, most=most)
        assert found == pytest.approx(expected, nan_ok=True)
    assert layers_in_one_go(resin, 1e-3, air) == (4, 340.0, 350.0)
    assert (slabs.HOT, slabs.BOILING) == (70.0 + 273.15, 100.0 + 273.15)
    assert layers_in_one_go(resin, 1e-4, air) == pytest.approx((12, 312.0, np.nan), nan_ok=True)
    for most in (0, 41):
        with pytest.raises(OutOfValidity, match="most layers"):
            layers_in_one_go(resin, 1e-3, air, most=most)


def plan(count: int = 1, thickness: float = 1e-3, last: float = 0.0) -> list[LaminateLayer]:
    return [LaminateLayer(0.0, thickness)] * (count - 1) + [LaminateLayer(last, thickness)]


@pytest.mark.parametrize(
    ("layers", "refused"),
    [
        (plan(40), ""),
        (plan(41), "number of layers"),
        (plan(2, last=DAY - 1.0), ""),
        (plan(2, last=DAY - 0.9), "time of a layer"),
        ([*plan(2, last=60.0), LaminateLayer(30.0, 1e-3)], "time of a layer"),
        (plan(thickness=1e-4), ""),
        (plan(thickness=0.9e-4), "thickness"),
        (plan(thickness=0.2), ""),
        (plan(thickness=0.21), "thickness"),
    ],
)
def test_a_plan_is_taken_up_to_its_limits(layers: list[LaminateLayer], refused: str) -> None:
    """Forty layers, the last a second before the end, each a tenth of a millimetre to 20 cm."""
    with pytest.raises(OutOfValidity, match=refused) if refused else nullcontext():
        slabs._require_layers(layers, DAY)


def test_cells_are_shared_by_thickness_and_every_layer_has_one() -> None:
    """Twenty, for 1, 1 and 8 mm; and a film on a thick plate."""
    assert slabs._shared([LaminateLayer(0.0, each) for each in (1e-3, 1e-3, 8e-3)], 20) == [2, 2, 16]
    assert slabs._shared([LaminateLayer(0.0, each) for each in (1e-4, 8e-3)], 20) == [1, 20]


def test_a_row_of_cells_by_hand() -> None:
    """Wood of 12 mm in six, a layer of 4 mm in two on it: what they hold, and what passes between them."""
    wood = replace(
        load_substrate("plywood"), thickness=0.012, density=500.0, heat_capacity=1600.0, conductivity=0.1
    )
    stuff = slabs.Matter(1600.0, 1400.0, 0.4, 140.0, 7e-4)
    bare = slabs._Row.of(wood, History(np.array([0.0, DAY]), np.array([290.0, 280.0])))
    row = bare.topped(LaminateLayer(0.0, 4e-3), 2, stuff, load_resin("polyester-laminating"), 295.0)
    chain = row.chain(10.0, 5.0)
    assert chain.capacity == pytest.approx([1600.0] * 6 + [4480.0] * 2)
    assert chain.link == pytest.approx([50.0] * 5 + [80.0, 200.0])
    assert chain.ends == pytest.approx([1.0 / (0.1 + 0.01), 1.0 / (0.2 + 0.0025)])
    assert row.temperature.tolist() == [290.0] * 6 + [295.0] * 2
    assert row.progress.tolist() == [-load_resin("polyester-laminating").kinetics.inhibitor] * 2
    assert (bare.bend, row.bend) == (0.0, 7e-4)
    assert slabs._Row.of(None, constant(290.0, DAY)).width.size == 0


def course(under: Substrate, bend: float = 7e-4, *, insulated: bool = False) -> slabs._Course:
    """Two cells of 2 mm of the laminate on a substrate, in air of 290 K."""
    resin, air = load_resin("polyester-laminating"), constant(290.0, DAY)
    stuff = slabs.Matter(1600.0, 1400.0, 0.4, 140.0, bend)
    row = slabs._Row.of(under, air).topped(LaminateLayer(0.0, 4e-3), 2, stuff, resin, 290.0)
    law = reaction(resin, 1.0, stuff.rise)
    return slabs._Course(row, law, slabs._Around.of(air, None), insulated=insulated)


def test_the_rung_of_a_face_is_that_of_the_heat_that_it_gives() -> None:
    """From its cell as much comes as goes to the air: of many, within a sixteenth of a rung in the mean."""
    foam = replace(load_substrate("foam"), thickness=0.02, conductivity=0.035)
    passes = 0.035 / (0.5 * 0.02 / SUBSTRATE_CELLS)
    on_foam, found, expected = course(foam), list[int](), list[int]()
    for inside in np.arange(290.5, 350.0, 0.1).tolist():
        face = inside
        for _ in range(30):
            transfer = transfer_to_air(face - 290.0, 290.0)
            face = (passes * inside + transfer * 290.0) / (passes + transfer)
        expected.append(round(math.log(transfer, 1.08)))
        found.append(on_foam._rung(inside, 290.0, 0))
    assert np.mean(found) == pytest.approx(np.mean(expected), abs=0.06)


def test_a_regime_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """What an insulated back lets through is nought; a heat capacity that hardly rises is taken as one.

    Rungs of eight kelvin, from the air's. Steps are long once it was warmer and is within half a kelvin.
    """
    monkeypatch.setattr(
        slabs, "Regime", lambda law, chain, _: SimpleNamespace(law=law, ends=chain.ends.tolist())
    )
    wood, warm, air = load_substrate("plywood"), np.full(8, 320.0), np.full(2, 290.0)
    usual, insulated, bent, straight = (
        cast("SimpleNamespace", each(warm, air))
        for each in (course(wood), course(wood, insulated=True), course(wood, 1.1e-9), course(wood, 1e-9))
    )
    assert usual.ends[0] > 0.0
    assert insulated.ends == [0.0, usual.ends[1]]
    assert bent.law.capacity is not None
    assert straight.law.capacity is None
    one = course(wood)
    for kelvin, rung, longest in (
        *((290.0, 0, 480.0), (293.9, 0, 480.0), (294.1, 1, 480.0), (306.1, 2, 480.0)),
        *((290.5, 0, 480.0), (290.4, 0, 1920.0)),
    ):
        law = cast("SimpleNamespace", one(np.full(8, kelvin), air)).law
        assert (float(law.capacity.anchor), law.longest) == (290.0 + 8.0 * rung, longest), kelvin


def test_air_at_both_ends() -> None:
    """What it is at first; steady only where it is one air, of one temperature."""
    steady, cooling = constant(290.0, HOUR), History(np.array([0.0, HOUR]), np.array([290.0, 280.0]))
    for air, face, expected in (
        (steady, None, ([290.0, 290.0], 290.0, True)),
        (cooling, None, ([285.0, 285.0], 290.0, False)),
        (steady, cooling, ([290.0, 285.0], 290.0, False)),
        (cooling, steady, ([285.0, 290.0], 290.0, False)),
    ):
        around = slabs._Around.of(air, face)
        assert (around.at(0.5 * HOUR).tolist(), around.first, around.steady) == expected


@pytest.mark.parametrize("swing", [0.0, 0.5])
def test_a_bare_face_of_one_temperature_felt_air_as_warm(swing: float) -> None:
    """And one that warmed by half a kelvin felt air that was warmer."""
    surface = History(np.array([0.0, HOUR]), np.array([290.0, 290.0 + swing]))
    air = felt(surface, load_substrate("timber"))
    assert (air is surface) == (swing == 0.0)
    assert (air.temperature[-1] > surface.temperature[-1]) == (swing > 0.0)


def test_less_hardener_than_usual_counts_as_a_rate() -> None:
    """As slow as the rate by which it lets a film cure."""
    resin, air = load_resin("polyester-laminating"), constant(293.15, HOUR)
    dosed = laminate(resin, plan(), air, peroxide_percent=1.25, cells=1)
    slower = laminate(resin, plan(), air, rate_factor=resin.dose_factor(1.25), cells=1)
    plain = laminate(resin, plan(), air, cells=1)
    assert dosed.slowest[-1] == slower.slowest[-1] < plain.slowest[-1]


def test_without_more_words_a_laminate_is_of_the_usual_lot_on_a_back_in_air() -> None:
    """Glass of 45 % by mass, twenty cells; a back that lets no heat through keeps it warmer."""
    resin, under, air = load_resin("epoxy-fast"), load_substrate("plywood"), constant(293.15, 2 * HOUR)
    plain = laminate(resin, plan(), air, under)
    asked = laminate(
        resin, plan(), air, under, fibre_mass_fraction=0.45, rate_factor=1.0, cells=20, insulated=False
    )
    assert np.array_equal(plain.hottest, asked.hottest)
    warm = laminate(resin, plan(thickness=4e-3), air, under, insulated=True).hottest[-1]
    assert warm > laminate(resin, plan(thickness=4e-3), air, under).hottest[-1]
