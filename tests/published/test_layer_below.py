"""A layer on one of another resin that is still warm, against an integration of both at tight tolerances.

``plate_equations`` is that integration, with the numbers of each resin in its own cells.
"""

from typing import NamedTuple

import numpy as np
import pytest

from curewatch.materials import Resin, load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.ensemble import Heat, milestone_times
from curewatch.model.film.film import constant
from curewatch.model.film.lots import Lot
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer
from curewatch.units import HOUR, MINUTE
from tests.published.plate_equations import Ply, gel

AIR = 293.15  # K


class Case(NamedTuple):
    """A layer below, its thickness [m] and how long before [s]; the layer on it; the substrate."""

    under: str
    thick: float
    gap: float
    name: str
    thin: float
    substrate: str


CASES = (
    Case("epoxy-fast", 0.005, 20 * MINUTE, "epoxy-slow", 0.0016, "foam"),
    Case("epoxy-fast", 0.003, 30 * MINUTE, "epoxy-laminating", 0.0024, "plywood"),
    Case("polyester-laminating", 0.006, 30 * MINUTE, "vinyl-ester", 0.002, "plywood"),
)


def told(resin: Resin, buildup: Buildup, gap: float) -> float:
    """The same by the stepping of many layers. [s]"""
    start = 450.0 * np.ceil(gap / 450.0)
    paths = constant(AIR, 72 * HOUR)
    heat = Heat(buildup, np.full((1, paths.time.size), AIR))
    found = milestone_times(resin, paths, starts=[start], chosen=[Lot(resin, 1.0)], heat=heat)
    return float(found["gel"][0, 0])


@pytest.mark.parametrize("case", CASES)
@pytest.mark.few(1)
def test_a_warm_layer_of_another_resin_gives_its_heat(case: Case, record_property) -> None:
    """Gel of the upper layer within 5 % or 5 min; as if it lay on the bare substrate it misses by more."""
    under, thick, gap, name, thin, substrate = case
    resin, other, below = load_resin(name), load_resin(under), load_substrate(substrate)
    expected = gel([Ply(other, thick), Ply(resin, thin, gap)], below, constant(AIR, gap + 48 * HOUR))
    allowed = max(5 * MINUTE, 0.05 * expected)
    before = LaminateLayer(-gap, thick, Lot(other, 1.0))
    own = told(resin, Buildup(thin, below, before=(before,)), gap)
    bare = told(resin, Buildup(thin, below), gap)
    as_if_own = told(resin, Buildup(thin, below, before=(before._replace(lot=None),)), gap)
    off = [(each - expected) / MINUTE for each in (own, bare, as_if_own)]
    record_property(
        "measured", f"{name} on {under} {off[0]:+.1f} min of {expected / MINUTE:.0f}, bare {off[1]:+.1f}"
    )
    assert abs(own - expected) <= allowed
    assert abs(bare - expected) > allowed
    assert abs(as_if_own - expected) > abs(own - expected)
