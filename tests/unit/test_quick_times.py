"""Times of many variants at once against the integrators of film and pot."""

import numpy as np
import pytest

from curewatch.materials import load_resin, resin_names
from curewatch.model.film import film
from curewatch.model.film.milestones import milestones
from curewatch.model.fit.quick_times import film_time, glass_after, pot_time, threshold
from curewatch.model.mass import pot


@pytest.mark.parametrize("name", resin_names())
def test_film_times_are_those_of_the_film(name: str) -> None:
    """Working time, gel and firm at 8 and 25 degC within 1 per cent."""
    resin = load_resin(name)
    for kelvin in (281.15, 298.15):
        marks = milestones(resin, film.cure(resin, film.constant(kelvin, 20 * 86400.0)))
        for mark in ("working_time", "gel", "firm"):
            quick = film_time([resin], kelvin, threshold([resin], mark, kelvin))
            assert float(quick[0]) == pytest.approx(getattr(marks, mark), rel=0.01)


@pytest.mark.parametrize("name", ["epoxy-fast", "epoxy-slow", "polyester-laminating"])
def test_pot_times_are_those_of_the_pot_at_one_temperature(name: str) -> None:
    """A 20 g and a 500 g cup within 0.5 per cent of the pot model without shells."""
    resin = load_resin(name)
    for mass, kelvin in ((0.02, 283.15), (0.5, 298.15)):
        whole = pot.pot(resin, mass, kelvin, duration=3 * 86400.0, grid=False)
        loss = np.array([pot.body(resin, mass).loss])
        quick = pot_time([resin], kelvin, loss, threshold([resin], "gel", kelvin))
        assert float(quick[0]) == pytest.approx(whole.pot_life, rel=0.005)


def test_glass_after_a_schedule_is_that_of_the_film() -> None:
    """A day at 20 and half a day at 60 degC, within 0.1 K."""
    resin = load_resin("epoxy-slow")
    schedule = ((86400.0, 293.15), (43200.0, 333.15))
    time, temperature = (
        np.array([0.0, 86400.0, 86401.0, 129600.0]),
        np.array([293.15, 293.15, 333.15, 333.15]),
    )
    done = film.cure(resin, film.History(time, temperature))
    assert float(glass_after([resin], schedule)[0]) == pytest.approx(
        float(done.glass_transition[-1]), abs=0.1
    )
