"""Cure, gel and the self-heating pot against closed forms, theory, open data and papers."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

import curewatch.model.mass.laminate as laminates
from curewatch.materials import Resin, load_resin, resin_names
from curewatch.model.film.film import constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.mass.laminate import LaminateLayer, laminate
from curewatch.model.mass.pot import pot
from curewatch.physics.constants import GAS_CONSTANT
from curewatch.physics.cure_kinetics import arrhenius
from curewatch.physics.gelation import (
    cobalt_law,
    gel_time_of_cobalt,
    hardener_per_hundred_resin,
)
from curewatch.units import HOUR, kelvin_from_celsius
from tests.published.published_rows import rows

FITTED = ("0.1", "0.03", "0.006", "0.001")  # cobalt contents of the fit; the other three are predicted


def without_glass(resin: Resin) -> Resin:
    """The same without a diffusion limit: cure never meets the glass."""
    return replace(resin, kinetics=replace(resin.kinetics, diffusion=1e30))


def test_film_integrates_the_closed_form() -> None:
    """With m = n = 1 the film gives the exact solution within 1e-4."""
    resin = without_glass(load_resin("epoxy-slow"))
    resin = replace(resin, kinetics=replace(resin.kinetics, k1=2.5e-5, k2=2.5e-4, m=1.0, n=1.0))
    for row in rows("kinetics_closed_form"):
        film = cure(resin, constant(298.15, float(row["time_s"])))
        assert film.conversion[-1] == pytest.approx(float(row["conversion"]), abs=1e-4), row


def test_epoxies_gel_where_an_ideal_network_would() -> None:
    """Each epoxy's gel lies within 0.02 above Flory-Stockmayer's for four hydrogens."""
    for row in rows("gel_point"):
        f, g, ratio, printed = (float(value) for value in row.values())
        assert math.sqrt(ratio / ((f - 1.0) * (g - 1.0))) == pytest.approx(printed, abs=1e-4), row
        if (f, ratio) == (4.0, 1.0):
            gels = [load_resin(name).milestones.gel for name in resin_names() if name.startswith("epoxy")]
            assert all(printed <= gel <= printed + 0.02 for gel in gels)


def test_cobalt_predicts_the_gel_time_of_polyester() -> None:
    """t = a + b/[Co] fitted to four contents predicts the other three within 20 %."""
    table = {row["cobalt_percent"]: 60.0 * float(row["gel_min"]) for row in rows("polyester_gel_cobalt")}
    a, b = cobalt_law([float(cobalt) for cobalt in FITTED], [table[cobalt] for cobalt in FITTED])
    for cobalt, measured in table.items():
        if cobalt not in FITTED:
            assert float(gel_time_of_cobalt(float(cobalt), a, b)) == pytest.approx(measured, rel=0.20), cobalt
    for name in ("polyester-laminating", "polyester-topcoat", "vinyl-ester"):
        dose = load_resin(name).dose
        assert dose is not None
        assert (dose.gel_a, dose.gel_b) == pytest.approx((a, b), rel=2e-3)


def test_gel_of_a_polyester_film_follows_its_cobalt() -> None:
    """The film's own gel time moves with the accelerator as the law says."""
    resin = load_resin("polyester-laminating")
    dose = resin.dose
    assert dose is not None
    films = {
        cobalt: cure(resin, constant(293.15, 12 * HOUR), rate_factor=resin.dose_factor(None, cobalt))
        for cobalt in (0.003, 0.03, 0.1)
    }
    gels = {cobalt: milestones(resin, film).gel for cobalt, film in films.items()}
    for cobalt in (0.003, 0.1):
        law = float(gel_time_of_cobalt(cobalt, dose.gel_a, dose.gel_b)) / float(
            gel_time_of_cobalt(0.03, dose.gel_a, dose.gel_b)
        )
        assert gels[cobalt] / gels[0.03] == pytest.approx(law, rel=0.02)


def test_hardener_for_a_hundred_of_resin() -> None:
    """Equivalent weights, four amines."""
    for row in rows("stoichiometry"):
        found = hardener_per_hundred_resin(
            float(row["molar_mass"]), float(row["functionality"]), float(row["epoxy_equivalent_weight"])
        )
        assert found == pytest.approx(float(row["phr"]), rel=0.01), row


def test_cold_costs_more_than_a_doubling() -> None:
    """Rates and gel times of the epoxies follow the activation energy of gelation."""
    resin = without_glass(load_resin("epoxy-slow"))
    for row in rows("temperature_ratio"):
        cool, warm = (kelvin_from_celsius(float(row[name])) for name in ("cooler_c", "warmer_c"))
        ratio = float(arrhenius(1.0, 58_500.0, warm) / arrhenius(1.0, 58_500.0, cool))
        assert ratio == pytest.approx(float(row["time_ratio"]), rel=0.03), row
        slow, fast = (milestones(resin, cure(resin, constant(at, 60 * HOUR))).gel for at in (cool, warm))
        assert slow / fast == pytest.approx(float(row["time_ratio"]), rel=0.03), row


def diaminopropane() -> Resin:
    """The system of the worked set of pots."""
    resin = without_glass(load_resin("epoxy-slow"))
    k1 = float(np.exp(9.97 - 50_600 / (GAS_CONSTANT * 298.15)))
    k2 = float(np.exp(10.57 - 47_000 / (GAS_CONSTANT * 298.15)))
    return replace(
        resin,
        kinetics=replace(resin.kinetics, k1=k1, k2=k2, energy_1=50_600.0, energy_2=47_000.0, m=0.85, n=1.53),
        milestones=replace(resin.milestones, gel=0.577),
        thermal=replace(resin.thermal, reaction_heat=470e3, heat_capacity=1900.0, density=1150.0),
    )


def test_pots_and_films_of_a_worked_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """A film of 1 mm, cups of 20, 100 and 500 g, and a mass without loss: gel within 5 %.

    The set cools its film at 10 W/(m2 K); the program's own still air takes less.
    """
    monkeypatch.setattr(laminates, "transfer_to_air", lambda warmer, air: 10.0 + 0.0 * warmer)
    resin = diaminopropane()
    for row in rows("pot_and_film"):
        air, minutes = kelvin_from_celsius(float(row["start_c"])), float(row["gel_min"])
        if row["form"] == "cup":
            found = pot(resin, float(row["mass_g"]) / 1000.0, air, grid=False).pot_life
        elif row["form"] == "adiabatic":
            found = pot(resin, 0.1, air, insulated=True, grid=False).pot_life
        else:
            layer, still = [LaminateLayer(0.0, 1e-3)], constant(air, 6 * HOUR)
            found = laminate(resin, layer, still, fibre_mass_fraction=0.0, cells=1).gel
        assert found / 60.0 == pytest.approx(minutes, rel=0.05), row
