"""Holes, tapers and patches, by hand calculation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.plan.geometry import Outline, RepairShape, ellipse_perimeter, layers, outline, taper
from curewatch.errors import UsageError


def test_ten_millimetres_at_twelve_to_one_is_120_mm_each_way() -> None:
    """12 x 10 mm = 120 mm (common practice, the usual example)."""
    made = taper(outline(RepairShape.ROUND, 0.100), 0.010, 0.001)
    assert made.scarf == pytest.approx(0.120)
    # By hand: the hole is 100 mm across, so the ground area is 100 + 2 x 120 = 340 mm across:
    # pi/4 (0.34² - 0.10²) = 0.7854 x (0.1156 - 0.0100) = 0.08294 m².
    assert made.ground_area == pytest.approx(0.08294, abs=1e-5)
    assert len(made.patches) == 10
    # First patch: one tenth of 120 mm beyond the hole: 100 + 24 = 124 mm across; last: 340 mm.
    assert made.patches[0].length == pytest.approx(0.124)
    assert made.patches[-1].area == pytest.approx(math.pi / 4 * 0.34**2)


def test_a_rectangle_from_both_sides_by_hand() -> None:
    """200 x 100 mm, 8 mm thick, 10:1, two sides, 1 mm layers, 5 mm overlap."""
    made = taper(
        outline(RepairShape.RECTANGULAR, 0.200, 0.100), 0.008, 0.001, ratio=10, sides=2, overlap=0.005
    )
    # Depth a side 4 mm, so scarf 40 mm, 4 layers a side, 8 patches.
    assert made.scarf == pytest.approx(0.040)
    assert [patch.side for patch in made.patches] == ["outside"] * 4 + ["inside"] * 4
    # Patch 1 reaches 10 + 5 = 15 mm: cut 230 x 130 mm; with rounded corners its area is
    # 0.2 x 0.1 + 0.6 x 0.015 + pi x 0.015² = 0.020 + 0.009 + 0.000707 = 0.029707 m².
    first = made.patches[0]
    assert (first.length, first.width) == (pytest.approx(0.230), pytest.approx(0.130))
    assert first.area == pytest.approx(0.029707, abs=1e-6)
    # Ground: two sides of (0.6 x 0.04 + pi x 0.04²) = 2 x (0.024 + 0.0050265) = 0.058053 m².
    assert made.ground_area == pytest.approx(0.058053, abs=1e-6)


def test_a_crack_is_a_strip_without_width() -> None:
    """600 mm of seam, 3 mm deep at 12:1: 36 mm each way, 72 mm wide at the top, ends not tapered."""
    made = taper(outline(RepairShape.STRIP, 0.600), 0.003, 0.001)
    assert made.patches[-1].width == pytest.approx(0.072)
    assert made.patches[-1].length == pytest.approx(0.600)
    assert made.ground_area == pytest.approx(0.600 * 0.072)


@pytest.mark.parametrize("squeeze", [1.0, 0.7, 0.3, 0.1])
def test_the_ellipse_s_perimeter_agrees_with_integration(squeeze: float) -> None:
    """Against a polygon of 200,000 corners, within 1e-4."""
    angle = np.linspace(0, 2 * np.pi, 200_001)
    polygon = np.hypot(np.diff(np.cos(angle)), np.diff(squeeze * np.sin(angle))).sum()
    assert ellipse_perimeter(1.0, squeeze) == pytest.approx(polygon, rel=1e-4)


@given(some.floats(0.01, 2), some.floats(0.01, 2), some.floats(0, 0.5), some.sampled_from(list(RepairShape)))
def test_a_grown_outline_fits_its_box_and_holds_the_hole(
    length: float, width: float, by: float, shape: RepairShape
) -> None:
    """Hole <= grown outline <= the piece it is cut from, whatever the shape."""
    hole = outline(shape, length, width)
    box_length, box_width = hole.grown_box(by)
    assert hole.area <= hole.grown_area(by) <= box_length * box_width * (1 + 1e-9)


def test_an_oval_as_long_as_wide_is_round() -> None:
    """The two shapes agree where they meet."""
    oval, circle = outline(RepairShape.OVAL, 0.3, 0.3), outline(RepairShape.ROUND, 0.3)
    assert oval.grown_area(0.1) == pytest.approx(circle.grown_area(0.1), rel=1e-12)


def test_layers_are_whole_and_a_hair_more_is_not_one_more() -> None:
    """5.00 and 5.01 layers are 5; 5.1 are 6; nothing is at least 1."""
    assert [layers(depth, 1.0) for depth in (5.0, 5.01, 5.1, 0.001)] == [5, 5, 6, 1]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: outline(RepairShape.ROUND, 0.0),
        lambda: outline(RepairShape.OVAL, 0.2),
        lambda: taper(Outline(RepairShape.ROUND, 0.1, 0.1), 0.0, 0.001),
        lambda: taper(Outline(RepairShape.ROUND, 0.1, 0.1), 0.01, 0.001, ratio=0.5),
        lambda: taper(Outline(RepairShape.ROUND, 0.1, 0.1), 0.01, 0.001, sides=3),
    ],
)
def test_what_cannot_be_built_is_refused(wrong: object) -> None:
    """A message, not a wrong number."""
    with pytest.raises(UsageError):
        wrong()  # type: ignore[operator]
