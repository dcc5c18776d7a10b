"""The heater that the configuration names: what it gives counts only where it may be used."""

import pytest
from msgspec.structs import replace

from curewatch.configuration import Configuration
from curewatch.shed.look import Look
from tests.unit.test_advice_levers import NOW, asked


@pytest.mark.parametrize("heater", ["electric", "flued", "propane", "paraffin"])
def test_an_unflued_heater_is_a_burner_to_refuse_and_its_power_counts_for_nothing(heater: str) -> None:
    """Electric and flued heat have their power; what burns in the shed has a name only."""
    usual = Configuration()
    shed = replace(usual.shed, heater=heater, heater_kw=2.0)
    with_heater = replace(usual, shed=shed)
    found = Look(None, with_heater, NOW).means(asked("epoxy-slow"))
    unflued = heater in {"propane", "paraffin"}
    assert (found.burner, found.power) == ((heater, None) if unflued else ("", 2000.0))
