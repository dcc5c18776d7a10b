"""Cloth: resin uptake and thickness by hand calculation; every number has an origin."""

import pytest

from curewatch.errors import ConfigurationError, UsageError
from curewatch.materials.chemistry import EPOXY, POLYESTER
from curewatch.materials.cloth import cloth_kinds, load_cloth

TAGS = ("published", "open data", "computed", "common practice", "from memory", "assumed")


def test_a_layer_of_450_biaxial_takes_half_a_kilogram_of_resin_a_square_metre() -> None:
    """450 g at 47.5 % fibre: 450 x 0.525/0.475 = 497 g of resin; with resin of 1150 kg/m³
    450/2560 + 497.4/1150 = 0.176 + 0.432 = 0.608 mm."""
    cloth = load_cloth("stitched-biaxial")
    assert cloth.resin_per_area == pytest.approx(0.4974, abs=1e-4)
    assert cloth.thickness(1150.0) == pytest.approx(0.608e-3, abs=1e-6)


def test_mat_takes_two_to_two_and_a_half_times_its_mass(record_property) -> None:
    """common practice: chopped strand mat and its resin."""
    mat = load_cloth("chopped-strand-mat")
    record_property("measured", f"{mat.resin_per_area / mat.areal_mass:.2f} times")
    assert 2.0 <= mat.resin_per_area / mat.areal_mass <= 2.5


def test_epoxy_takes_twice_as_long_as_polyester() -> None:
    """common practice."""
    cloth = load_cloth("woven-roving")
    assert cloth.wet_out_time(EPOXY) == 2 * cloth.wet_out_time(POLYESTER)


@pytest.mark.parametrize("kind", cloth_kinds())
def test_every_number_of_a_cloth_has_an_origin_and_makes_sense(kind: str) -> None:
    """Tag and source on each; a heavier cloth is thicker, thirstier and slower in proportion or less."""
    cloth = load_cloth(kind)
    assert len(cloth.origins) == 4
    assert all(origin.startswith(TAGS) for origin in cloth.origins.values())
    double = load_cloth(kind, 2 * cloth.areal_mass)
    assert double.thickness(1100.0) == pytest.approx(2 * cloth.thickness(1100.0))
    assert cloth.wet_out < double.wet_out < 2 * cloth.wet_out


def test_an_unknown_cloth_or_an_impossible_mass_is_refused() -> None:
    """The message says what is known and allowed."""
    with pytest.raises(ConfigurationError, match="woven-roving"):
        load_cloth("velvet")
    with pytest.raises(UsageError, match="20 to 3000"):
        load_cloth("woven-roving", 60.0)
