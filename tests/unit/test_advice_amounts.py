"""What a repair takes, by hand calculation."""

import math

import pytest

from curewatch.advice.plan.amounts import Repair, amounts
from curewatch.advice.plan.geometry import RepairShape, outline
from curewatch.advice.plan.mixing import Proportion
from curewatch.errors import UsageError
from curewatch.materials.cloth import load_cloth

DEMO = Proportion(0.25, 0.2375, 0.2625, 1150.0, 1000.0, "common practice", "plus or minus 5 per cent")


def rudder_cheek(**changes: object) -> Repair:
    """The demo's rudder cheek: a round hole of 80 mm in 6 mm of laminate, on plywood."""
    asked: dict[str, object] = {
        "hole": outline(RepairShape.ROUND, 0.080),
        "thickness": 0.006,
        "cloth": load_cloth("stitched-biaxial"),
        "substrate": "plywood",
        "waste": 0.0,
    }
    return Repair(**(asked | changes))  # type: ignore[arg-type]


def test_the_rudder_cheek_by_hand() -> None:
    """Scarf 72 mm, ten layers, 0.33 kg of cloth as laid, and its resin."""
    made = amounts(rudder_cheek(), DEMO, 1150.0)
    # A layer of 450 g/m² biaxial is 0.608 mm (test_cloth.py): 6 / 0.608 = 9.87, so 10 layers.
    assert len(made.layers) == 10
    assert made.taper.scarf == pytest.approx(0.072)
    # Layer k is a disc of 40 + 7.2 k mm radius. Sum of squares over k = 1..10 in mm²:
    # 10 x 1600 + 2 x 40 x 7.2 x 55 + 51.84 x 385 = 16000 + 31680 + 19958.4 = 67638.4; x pi = 0.212492 m².
    assert made.taper.laid_area == pytest.approx(0.212492, abs=1e-6)
    # Resin in the layers: 0.212492 x 497.4 g/m² = 105.7 g.
    assert math.fsum(made.layer_resin) == pytest.approx(0.1057, abs=1e-4)
    # Sealing: ring of 40 to 112 mm, pi x (112² - 40²) = 34381 mm², x 150 g/m² = 5.2 g.
    assert made.sealing == pytest.approx(0.00516, abs=1e-5)
    # Mixed 110.9 g: at 100 : 25, 88.7 g and 22.2 g; 77.1 and 22.2 ml.
    assert made.mixed == pytest.approx(0.1109, abs=2e-4)
    assert made.resin == pytest.approx(0.0887, abs=2e-4)
    assert made.added == pytest.approx(0.0222, abs=1e-4)
    assert made.resin_volume == pytest.approx(77.1e-6, abs=0.2e-6)
    # Cloth is cut as squares: 4/pi of the discs, 0.27055 m², 121.7 g.
    assert made.cloth_area == pytest.approx(0.27055, abs=1e-5)
    assert made.cloth_mass == pytest.approx(0.1217, abs=1e-4)


def test_waste_goes_on_everything_bought_and_nothing_laid() -> None:
    """20 % more cloth, resin and hardener; the layers are the same."""
    plain, with_waste = amounts(rudder_cheek(), DEMO, 1150.0), amounts(rudder_cheek(waste=0.2), DEMO, 1150.0)
    assert with_waste.mixed == pytest.approx(1.2 * plain.mixed)
    assert with_waste.cloth_area == pytest.approx(1.2 * plain.cloth_area)
    assert with_waste.layer_resin == plain.layer_resin


def test_resin_and_hardener_are_the_whole() -> None:
    """Nothing is lost between the parts."""
    made = amounts(rudder_cheek(), DEMO, 1150.0)
    assert made.resin + made.added == pytest.approx(made.mixed)
    assert made.added / made.resin == pytest.approx(0.25)


def test_working_from_both_sides_needs_a_shorter_scarf_and_less_resin() -> None:
    """Half the depth on each side: 36 mm of scarf, as many layers in all, smaller ones."""
    one, two = amounts(rudder_cheek(), DEMO, 1150.0), amounts(rudder_cheek(sides=2), DEMO, 1150.0)
    assert two.taper.scarf == pytest.approx(one.taper.scarf / 2)
    assert len(two.layers) == len(one.layers)
    assert two.mixed < one.mixed


def test_a_waste_of_everything_is_refused() -> None:
    """A share, not more than the whole."""
    with pytest.raises(UsageError):
        amounts(rudder_cheek(waste=1.0), DEMO, 1150.0)
