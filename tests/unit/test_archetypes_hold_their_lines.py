"""Each generic resin does what its own file says it was set to do."""

import re

import pytest
from msgspec.structs import replace

from curewatch.materials import Resin, load_resin, resin_names
from curewatch.model.film.film import constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.mass.pot import pot
from curewatch.units import DAY, ZERO_CELSIUS

POT = re.compile(r"pot life of (\d+) g at (\d+) degC about (\d+) min")
GEL = re.compile(r"a film and (\d+) g gel in about (\d+) min at (\d+) degC with ([\d.]+) %")


def misses(resin: Resin) -> list[float]:
    """How far each time that the file's source line states is missed. [1]"""
    source = resin.origins["kinetics.k2"].source
    if stated := POT.search(source):
        mass, celsius, minutes = map(float, stated.groups())
        return [pot(resin, mass / 1000.0, celsius + ZERO_CELSIUS).pot_life / 60.0 / minutes - 1.0]
    stated = GEL.search(source)
    assert stated, source
    mass, minutes, celsius, dose = map(float, stated.groups())
    assert resin.dose is not None
    assert resin.dose.peroxide_normal == dose
    kelvin = celsius + ZERO_CELSIUS
    film = milestones(resin, cure(resin, constant(kelvin, DAY))).gel
    return [each / 60.0 / minutes - 1.0 for each in (film, pot(resin, mass / 1000.0, kelvin).pot_life)]


@pytest.mark.parametrize("name", resin_names())
def test_a_generic_resin_holds_its_own_source_line(name: str) -> None:
    """Within 10 per cent; a resin a quarter faster would not."""
    resin = load_resin(name)
    assert max(map(abs, misses(resin))) <= 0.10
    faster = replace(resin, kinetics=resin.kinetics.faster(1.25))
    assert max(map(abs, misses(faster))) > 0.10
