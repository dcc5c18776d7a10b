"""Simulated sheds of several stores: a fault that a first-order shed hides shows here."""

import numpy as np
import pytest

from tests.published.forecast_trials import Losses, issues, losses
from tests.published.sheds_of_higher_order import SHEDS


def together(found: Losses) -> np.ndarray:
    """By how much the forecast changes the error of each quantity, over all hours. [1]"""
    without, told = (np.sqrt(np.square(error).mean(axis=1)) for error in (found.without, found.told))
    return np.asarray(told / without - 1)


@pytest.mark.long
@pytest.mark.parametrize("kind", SHEDS)
@pytest.mark.parametrize("sensor_outside", [True, False])
def test_a_forecast_helps_each_kind_of_shed(kind: str, sensor_outside: bool, record_property) -> None:
    """First order, wall and air, sun on a roof: no error of any quantity or hour grows by more than 1 %."""
    space = SHEDS[kind]("JFK")
    found = losses(space, issues(space), sensor_outside=sensor_outside, every=29)
    told = ", ".join(f"{100 * change:+.0f} %" for change in together(found))
    record_property("measured", f"{kind}, {'with' if sensor_outside else 'no'} sensor outside: {told}")
    assert found.worst <= 0.01


@pytest.mark.parametrize("kind", ["first order", "roof in the sun"])
@pytest.mark.long
def test_the_first_edition_s_fault_shows_in_a_shed_of_higher_order_only(kind: str, record_property) -> None:
    """A forecast sent through a first-order shed: of use in such a shed, worse than nothing under a roof."""
    space = SHEDS[kind]("JFK")
    found = losses(space, issues(space), sensor_outside=True, every=701, first_edition=True)
    told = ", ".join(f"{100 * change:+.0f} %" for change in together(found))
    record_property("measured", f"{kind}: {told} of air, dew point, margin")
    worst = together(found).max()
    assert worst > 0.1 if kind == "roof in the sun" else worst < 0.1
