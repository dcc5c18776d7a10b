"""What a layer of a job was laid on, and how thick it is, by what was told of it."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from curewatch.errors import CurewatchError
from curewatch.jobs import Layer, layer_from_plain
from curewatch.materials.resin import Resin
from curewatch.materials.substrate import Substrate, load_substrate
from curewatch.model.film.lots import lot_below
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import FIBRE_MASS_FRACTION, LaminateLayer
from curewatch.units import DAY

WARM = DAY  # after that a layer below has no heat left to give [s]


def buildup(
    payload: Mapping[str, Any],
    told: Sequence[Mapping[str, Any]],
    substrate: Substrate | None,
    resin_of: Callable[[str, str | None, str], Resin],
) -> Buildup:
    """The layer of this payload, among those of its job.

    ``substrate`` is the job's; ``resin_of`` gives a resin by its name, lot and layer.
    """
    try:
        layer = layer_from_plain(payload)
        others = [layer_from_plain(each) for each in told]
    except (KeyError, TypeError, ValueError) as trouble:
        raise CurewatchError(f"a layer that cannot be read: {trouble}") from trouble
    below = load_substrate(layer.substrate, layer.substrate_thickness) if layer.substrate else substrate
    fibre = FIBRE_MASS_FRACTION if layer.fibre is None else layer.fibre
    earlier = sorted((each for each in others if _below(each, layer)), key=lambda each: each.started)
    before = (
        LaminateLayer(
            each.started - layer.started,
            each.thickness,
            lot_below(
                *((resin_of(one.resin, one.lot, one.layer), one.peroxide_percent) for one in (layer, each))
            ),
            FIBRE_MASS_FRACTION if each.fibre is None else each.fibre,
        )
        for each in earlier
    )
    return Buildup(layer.thickness, below, fibre, bool(layer.insulated), tuple(before))


def _below(each: Layer, layer: Layer) -> bool:
    """Whether one lies under the other, still warm: of the same part."""
    return each.part == layer.part and 0.0 < layer.started - each.started <= WARM
