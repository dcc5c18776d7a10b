"""The product's integrators against an integration of the documented equations at tight tolerances."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from curewatch.materials import Resin, load_resin, resin_names
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.units import DAY, HOUR, FloatArray
from tests.published.cure_equations import Rate, film, first_law, law

SHED = {
    "a night": lambda hours: 287.15 + 5.0 * np.cos(2 * np.pi * hours / 24.0),
    "a heater switched": lambda hours: 281.15 + 12.0 * (np.floor(hours / 5.0) % 2),
    "frost, then a warm tent": lambda hours: np.where(hours < 20.0, 272.15, 313.15),
}  # fmt: skip


def missed(resin: Resin, path: Callable[[FloatArray], FloatArray], rate: Rate) -> float:
    """Largest difference in conversion between the film and an integration over 72 h. [1]"""
    time = np.arange(0.0, 72 * HOUR + 1.0, 600.0)
    history = History(time, np.asarray(path(time / HOUR), dtype=float))
    own = cure(resin, history)
    return float(np.max(np.abs(own.conversion - np.maximum(film(resin, history, own.time, rate), 0.0))))


@pytest.mark.parametrize("name", resin_names())
def test_films(name: str, record_property) -> None:
    """Within 1e-4 of conversion along three paths; the first edition's law is off by a hundred times that."""
    resin = load_resin(name)
    worst = max(missed(resin, path, law) for path in SHED.values())
    record_property("measured", f"{name} {worst:.1e}")
    assert worst < 1e-4
    assert missed(resin, SHED["a night"], first_law) > 1e-2


@pytest.mark.parametrize("name", resin_names())
def test_gel_times(name: str, record_property) -> None:
    """Within 0.2 % at 5, 20 and 35 degC."""
    resin, worst = load_resin(name), 0.0
    for kelvin in (278.15, 293.15, 308.15):

        def passed(_: float, state: FloatArray, gel: float = resin.milestones.gel) -> float:
            return float(state[0]) - gel

        passed.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(
            lambda _, state, kelvin=kelvin: law(resin, state, kelvin), (0.0, 20 * DAY),
            [-resin.kinetics.inhibitor], method="LSODA", rtol=1e-10, atol=1e-12, events=passed,
        )  # fmt: skip
        own = milestones(resin, cure(resin, constant(kelvin, 20 * DAY))).gel
        assert own == pytest.approx(float(found.t_events[0][0]), rel=2e-3)
        worst = max(worst, abs(own / float(found.t_events[0][0]) - 1.0))
    record_property("measured", f"{name} {100 * worst:.3f} %")
