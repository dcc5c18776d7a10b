"""One rate law: a law half as fast makes every integrator's times twice as long, so none has a copy of it."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.materials import Resin, load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.ensemble import milestone_times
from curewatch.model.film.ensemble_steps import Heat
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.lots import Lot
from curewatch.model.film.milestones import milestones
from curewatch.model.fit.quick_times import film_time, pot_time
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer, laminate
from curewatch.model.mass.pot import body, pot
from curewatch.physics.cure_kinetics import RateLaw
from curewatch.units import DAY

AT = 293.15  # K
WOOD = load_substrate("plywood")


def cold_resin(name: str) -> Resin:
    """It makes next to no heat, so that a time is that of the law at one temperature."""
    resin = load_resin("epoxy-slow")
    return replace(resin, name=name, thermal=replace(resin.thermal, reaction_heat=1.0))


def many(resin: Resin, conversion: float, heat: Heat | None = None) -> float:
    """By the table that many paths are stepped with."""
    still = constant(AT, 4 * DAY)
    paths = History(still.time, still.temperature[None, :])
    asked = {"mark": conversion}
    found = milestone_times(resin, paths, chosen=[Lot(resin, 1.0)], conversions=asked, only=asked, heat=heat)
    return float(found["mark"][0, 0])


TIMES: dict[str, Callable[[Resin], float]] = {
    "film": lambda resin: milestones(resin, cure(resin, constant(AT, 4 * DAY))).gel,
    "age before diffusion": lambda resin: many(resin, 0.2),
    "flow map": lambda resin: many(resin, 0.75),
    "rate table": lambda resin: many(resin, 0.58, Heat(Buildup(2e-3, WOOD))),
    "pot": lambda resin: pot(resin, 0.1, AT, duration=2 * DAY, grid=False).pot_life,
    "pot in shells": lambda resin: pot(resin, 0.1, AT, duration=2 * DAY).pot_life,
    "laminate": lambda resin: laminate(resin, [LaminateLayer(0.0, 2e-3)], constant(AT, 2 * DAY), WOOD).gel,
    "quick film": lambda resin: float(film_time([resin], AT, np.array([0.58]))[0]),
    "quick pot": lambda resin: float(
        pot_time([resin], AT, np.array([body(resin, 0.1).loss]), np.array([0.58]))[0]
    ),
}


@pytest.mark.parametrize("way", TIMES)
def test_a_law_half_as_fast_takes_twice_as_long(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second copy of the rate would keep its time, wholly or in part."""
    whole, usual = RateLaw.kernel, TIMES[way](cold_resin("usual"))
    again = TIMES[way](cold_resin("again"))

    def halved(law: RateLaw, exp: Callable[[Any], Any]) -> Callable[..., Any]:
        rate = whole(law, exp)
        return lambda *state: 0.5 * rate(*state)

    monkeypatch.setattr(RateLaw, "kernel", halved)
    assert again == usual
    assert TIMES[way](cold_resin("halved")) == pytest.approx(2.0 * usual, rel=0.01)
