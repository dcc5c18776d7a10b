"""The laminate through its thickness against an integration of the documented equations at tight tolerances.

``plate_equations`` is that integration, written apart. Nothing tells the product which way a face looks: it
reckons with a face that looks down in still air, whose layers gel soonest. How much later the others gel is
measured here. Three controls must fail: the film in its place, ten watts for each kelvin and one heat
capacity, and all of it as one temperature.
"""

import numpy as np
import pytest

from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.mass.laminate import LaminateLayer, laminate
from curewatch.units import HOUR, MINUTE
from tests.published.plate_equations import PLATES, Ply, constant_loss, gel

CASES = (
    ("epoxy-fast", 0.0024, "foam", 293.15),
    ("epoxy-laminating", 0.0032, "plywood", 288.15),
    ("epoxy-slow", 0.0050, "aluminium", 283.15),
    ("polyester-laminating", 0.0080, "old-laminate", 293.15),
    ("vinyl-ester", 0.0060, "foam", 291.15),
)
PULL = 1.02  # ratio that counts as another answer


def night(kelvin: float) -> History:
    time = np.arange(0.0, 48 * HOUR + 1.0, 900.0)
    return History(time, kelvin + 4.0 * np.cos(2 * np.pi * time / (24 * HOUR)))


@pytest.mark.long
@pytest.mark.parametrize(("name", "thickness", "substrate", "kelvin"), CASES)
@pytest.mark.few(3)
def test_laminates(name: str, thickness: float, substrate: str, kelvin: float, record_property) -> None:
    """Gel throughout within 2 %, in steady air and along a night; the film in its place misses by more."""
    resin, below, worst, films, olds = load_resin(name), load_substrate(substrate), 0.0, 0.0, 0.0
    for air in (constant(kelvin, 48 * HOUR), night(kelvin)):
        expected = gel([Ply(resin, thickness)], below, air)
        own = laminate(resin, [LaminateLayer(0.0, thickness)], air, below).gel
        assert own == pytest.approx(expected, rel=0.02)
        worst = max(worst, abs(own / expected - 1.0))
        films = max(films, abs(milestones(resin, cure(resin, air)).gel / expected - 1.0))
        old = gel([Ply(resin, thickness)], below, air, loss=constant_loss, rising=False)
        olds = max(olds, old / expected - 1.0)
    record_property(
        "measured",
        f"{name} {100 * worst:.1f} %, the film {100 * films:.0f} %, 10 W/(m2 K) {100 * olds:.0f} % late",
    )
    assert films > 0.02
    assert olds > 0.02 or not resin.chemistry.amine  # polyester and vinyl ester gel before they warm


@pytest.mark.long
def test_a_face_that_looks_down_gels_soonest(record_property) -> None:
    """Upright and face up lose more: no layer gels sooner than is told, the thinnest on foam most later."""
    later = dict[str, float]()
    for name, thickness, substrate, kelvin in CASES:
        plies, below, air = (
            [Ply(load_resin(name), thickness)],
            load_substrate(substrate),
            constant(kelvin, 48 * HOUR),
        )
        own = laminate(load_resin(name), [LaminateLayer(0.0, thickness)], air, below).gel
        for way, loss in PLATES.items():
            found = gel(plies, below, air, loss=loss) / own - 1.0
            later[way] = max(later.get(way, 0.0), found)
            assert found > -0.01, (name, way)
    told = ", ".join(f"{way} {100 * each:.0f} % later" for way, each in later.items())
    record_property("measured", told)
    assert later["face up"] > later["upright"] > later["face down"]


def test_plies_on_a_warm_layer(record_property) -> None:
    """Three plies twenty minutes apart, the last from its own laying, within 2 %."""
    resin, below, air = load_resin("epoxy-fast"), load_substrate("plywood"), constant(291.15, 24 * HOUR)
    each, apart = 0.0012, 20 * MINUTE
    expected = gel([Ply(resin, each, apart * at) for at in range(3)], below, air)
    own = laminate(resin, [LaminateLayer(apart * at, each) for at in range(3)], air, below).gel - 2 * apart
    alone = laminate(resin, [LaminateLayer(0.0, each)], air, below).gel
    record_property(
        "measured", f"{100 * abs(own / expected - 1.0):.1f} %, alone {100 * (alone / expected - 1):.0f} %"
    )
    assert own == pytest.approx(expected, rel=0.02)
    assert alone > PULL * expected
