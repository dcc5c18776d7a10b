"""From the hole to its taper, its patches and their areas. Lengths in m, areas in m².

The taper is ground around the hole: ``scarf = ratio x thickness`` on each side worked from. Patches
are laid smallest first; the patch whose top lies a share ``s`` of the way up reaches ``s x scarf``
beyond the hole, so the last one ends where the taper ends, plus any overlap asked for.

Every outline here is convex (or a band), so its area when grown outwards by ``o`` is exactly
Steiner's formula ``A + P o + c o²``, with ``c = pi`` for a closed outline and 0 for a band that is
tapered along its two long edges only.

Source
------
Steiner 1840 (parallel curves of a convex outline), from memory; perimeter of an ellipse: Ramanujan
1914, second form, from memory, relative error below 1e-4 for axes up to 10 : 1 (checked against
numerical integration in the tests). Ratio 12 : 1 for a structural repair: common practice.
"""

import math
from enum import StrEnum

from msgspec import Struct

from curewatch.errors import UsageError

USUAL_RATIO = 12.0  # common practice for a structural repair
LONGEST = 20.0  # m of a hole or crack that one person works on (assumed)


class RepairShape(StrEnum):
    """The outline of what is missing."""

    ROUND = "round"
    OVAL = "oval"
    RECTANGULAR = "rectangular"
    STRIP = "strip"  # a seam, a crack, a tab: a band tapered along its long edges


class Outline(Struct, frozen=True):
    """An outline that can be grown: area, the edge it grows along, the corner term, its box."""

    shape: RepairShape
    length: float  # [m]
    width: float  # [m]

    @property
    def area(self) -> float:
        """Of the hole at its widest. [m²]"""
        if self.shape in {RepairShape.ROUND, RepairShape.OVAL}:
            return math.pi * self.length * self.width / 4
        return self.length * self.width

    @property
    def edge(self) -> float:
        """Length of the edge that is tapered. [m]"""
        if self.shape is RepairShape.STRIP:
            return 2 * self.length
        if self.shape is RepairShape.RECTANGULAR:
            return 2 * (self.length + self.width)
        return ellipse_perimeter(self.length / 2, self.width / 2)

    def grown_area(self, by: float) -> float:
        """Area once grown outwards by this much. [m²]"""
        corner = 0.0 if self.shape is RepairShape.STRIP else math.pi
        return self.area + self.edge * by + corner * by**2

    def grown_box(self, by: float) -> tuple[float, float]:
        """Length and width of the piece of cloth that covers the grown outline. [m]"""
        along = 0.0 if self.shape is RepairShape.STRIP else 2 * by
        return self.length + along, self.width + 2 * by


class Patch(Struct, frozen=True):
    """One piece of cloth, numbered from the hole outwards."""

    number: int
    side: str  # "outside", or "inside" where both are worked from
    reach: float  # beyond the hole's edge [m]
    length: float  # of the piece as cut [m]
    width: float
    area: float  # as laid [m²]


class Taper(Struct, frozen=True):
    """The ground area and everything that goes into it."""

    outline: Outline
    thickness: float  # of the laminate [m]
    ratio: float
    sides: int
    scarf: float  # length of the taper on each side worked from [m]
    ground_area: float  # the taper's own surface seen from above, all sides, without the hole [m²]
    patches: tuple[Patch, ...]

    @property
    def laid_area(self) -> float:
        """Cloth as laid, all patches. [m²]"""
        return math.fsum(patch.area for patch in self.patches)

    @property
    def cut_area(self) -> float:
        """Cloth as cut: the boxes the patches are cut from. [m²]"""
        return math.fsum(patch.length * patch.width for patch in self.patches)


def ellipse_perimeter(a: float, b: float) -> float:
    """Perimeter of an ellipse of these half axes. [m]"""
    if a + b == 0.0:
        return 0.0
    h = ((a - b) / (a + b)) ** 2
    return math.pi * (a + b) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h)))


def outline(shape: RepairShape, length: float, width: float | None = None) -> Outline:
    """The outline of a hole; a round one has its diameter alone, a strip may have no width (a crack).

    ``length``, ``width`` [m].

    Raises
    ------
    UsageError
        A length is not positive or over 20 m, or the shape needs a width and has none.
    """
    for title, found in (("length", length), ("width", width or 0.0)):
        if found > LONGEST or (title == "length" and found <= 0.0):
            found_mm = f"{title} of the {shape}: found {found * 1000:g} mm"
            raise UsageError(f"{found_mm}. Use more than 0 up to {LONGEST * 1000:g} mm")
    if shape is RepairShape.ROUND:
        return Outline(shape, length, length)
    if shape is RepairShape.STRIP:
        return Outline(shape, length, max(0.0, width or 0.0))
    if width is None or width <= 0:
        raise UsageError(f"width of the {shape} hole: found none above 0. Use its width besides its length")
    return Outline(shape, max(length, width), min(length, width))


def taper(
    hole: Outline,
    thickness: float,
    layer_thickness: float,
    *,
    ratio: float = USUAL_RATIO,
    sides: int = 1,
    overlap: float = 0.0,
) -> Taper:
    """The taper and its patches for a laminate of this thickness.

    Parameters
    ----------
    thickness, layer_thickness : float
        Of the laminate, and of one cured layer of the cloth. [m]
    ratio : float
        Length of taper to depth. [1]
    sides : int
        1: from one side through the whole thickness; 2: half the thickness from each side.
    overlap : float
        How far each patch reaches beyond its place in the taper. [m]

    Raises
    ------
    UsageError
        A thickness or ratio that cannot be built.
    """
    if thickness <= 0 or layer_thickness <= 0:
        raise UsageError("thickness: found 0 mm. Use more for the laminate and for a layer of cloth")
    if not 1 <= ratio <= 100:
        raise UsageError(f"scarf: found {ratio:g} to 1. Use 1 to 100; usual is {USUAL_RATIO:g}")
    if sides not in {1, 2}:
        raise UsageError(f"sides: found {sides}. Use 1 or 2")
    depth = thickness / sides
    scarf = ratio * depth
    count = layers(depth, layer_thickness)
    patches = tuple(
        _patch(hole, number, side, scarf * number / count + overlap)
        for side in ("outside", "inside")[:sides]
        for number in range(1, count + 1)
    )
    ground = sides * (hole.grown_area(scarf) - hole.area)
    return Taper(hole, thickness, ratio, sides, scarf, ground, patches)


def layers(depth: float, layer_thickness: float) -> int:
    """Whole layers that fill a depth: rounded up, but a surplus under 2 % of one layer is none. [m, m]"""
    return max(1, math.ceil(depth / layer_thickness - 0.02))


def _patch(hole: Outline, number: int, side: str, reach: float) -> Patch:
    length, width = hole.grown_box(reach)
    return Patch(number, side, reach, length, width, hole.grown_area(reach))
