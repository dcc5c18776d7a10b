"""A section through the scarf, drawn: for the terminal in characters, for the card in SVG.

Lengths along the laminate are to scale; the thickness is drawn larger, or a scarf of 12 to 1 would be
a line.
"""

from collections.abc import Iterator

from curewatch.answers.layup import LayerPieceDocument, LayupDocument

COLUMNS = 62  # of the drawing, without what is written beside it
BESIDE = 18  # of what is written there
SHOULDER = 5  # columns of old laminate on each side
ROWS = 10  # at most for each side: more layers share a row


def characters(plan: LayupDocument, width: int = COLUMNS + BESIDE) -> list[str]:
    """The section in characters: ``#`` is what stays, ``=`` is new, widest where it was ground first."""
    middle = min(COLUMNS, width - BESIDE) // 2
    outside = [patch for patch in plan.layers if patch.side == "outside"]
    inside = [patch for patch in plan.layers if patch.side == "inside"]
    above = [_row(plan, patch, "\\/", middle) for patch in _thinned(outside)[::-1]]
    below = [_row(plan, patch, "/\\", middle) for patch in _thinned(inside)]
    if not inside:
        below = [f"{_solid(plan, middle)}  back"]
    return ["outside", *above, *below, *(["inside"] if inside else [])]


def _thinned(patches: list[LayerPieceDocument]) -> list[LayerPieceDocument]:
    """At most :data:`ROWS` of them, the first and the last among them."""
    if len(patches) <= ROWS:
        return patches
    return [patches[round(at * (len(patches) - 1) / (ROWS - 1))] for at in range(ROWS)]


def _row(plan: LayupDocument, patch: LayerPieceDocument, edges: str, middle: int) -> str:
    half = _half(plan, patch, middle)
    new = f"{edges[0]}{'=' * (2 * half - 2)}{edges[1]}"
    shoulder = "#" * (middle - half)
    return f"{shoulder}{new}{shoulder}  {patch.number:>2}: {patch.width_mm:.0f} mm"


def _half(plan: LayupDocument, patch: LayerPieceDocument, middle: int) -> int:
    """Half the width of a patch in columns; ``middle`` is half of the drawing's."""
    widest = max(each.width_mm for each in plan.layers)
    room = max(2, middle - SHOULDER)
    return max(2, round(room * patch.width_mm / widest))


def _solid(plan: LayupDocument, middle: int) -> str:
    """The row under a hole that goes through: a backing that keeps the first layer in place."""
    widest = max(each.width_mm for each in plan.layers)
    hole = max(1, round((middle - SHOULDER) * plan.hole.width_mm / widest))
    return "#" * (middle - hole) + "-" * (2 * hole) + "#" * (middle - hole)


def svg(plan: LayupDocument, width: int = 680, height: int = 190) -> str:
    """The section as an SVG element: no script, no font of its own."""
    return "\n".join(
        [
            f'<svg viewBox="0 0 {width} {height}" width="100%" role="img" aria-label="Section of the scarf">',
            f'<rect x="0" y="20" width="{width}" height="{height - 60}" fill="#d9d2c5" stroke="none"/>',
            *_layers(plan, width, height),
            *_measures(plan, width, height),
            "</svg>",
        ]
    )


def _layers(plan: LayupDocument, width: int, height: int) -> Iterator[str]:
    widest = max(each.width_mm for each in plan.layers)
    depth = (height - 60) / (plan.sides * (len(plan.layers) // plan.sides))
    for side in ("outside", "inside"):
        patches = [patch for patch in plan.layers if patch.side == side]
        for patch in patches:
            half = 0.42 * width * patch.width_mm / widest
            under = (
                0.42
                * width
                * max(plan.hole.width_mm, patch.width_mm - 2 * plan.scarf_mm / len(patches))
                / widest
            )
            level = len(patches) - patch.number if side == "outside" else len(patches) + patch.number - 1
            top, bottom = 20 + depth * level, 20 + depth * (level + 1)
            wide, narrow = (half, under) if side == "outside" else (under, half)
            points = " ".join(
                f"{width / 2 + x:.1f},{y:.1f}"
                for x, y in ((-wide, top), (wide, top), (narrow, bottom), (-narrow, bottom))
            )
            shade = "#f3e9d2" if patch.number % 2 else "#e6d6b0"
            yield f'<polygon points="{points}" fill="{shade}" stroke="#6b5b3a" stroke-width="0.6"/>'


def _measures(plan: LayupDocument, width: int, height: int) -> Iterator[str]:
    widest = max(each.width_mm for each in plan.layers)
    hole, outer = (0.42 * width * each / widest for each in (plan.hole.width_mm, widest))
    base, middle = height - 26, width / 2
    for begin, end, words in (
        (middle - outer, middle - hole, f"scarf {plan.scarf_mm:.0f} mm"),
        (middle - hole, middle + hole, f"hole {plan.hole.width_mm:.0f} mm"),
        (middle + hole, middle + outer, f"scarf {plan.scarf_mm:.0f} mm"),
    ):
        yield f'<path d="M{begin:.1f} {base - 8} V{base} H{end:.1f} V{base - 8}" fill="none" stroke="#333"/>'
        place = f'x="{(begin + end) / 2:.1f}" y="{base + 15}"'
        yield f'<text {place} font-size="12" text-anchor="middle">{words}</text>'
    thick = f"{plan.thickness_mm:g} mm thick"
    yield f'<text x="4" y="14" font-size="12">outside; {thick}, drawn higher</text>'
