"""The record follows a layer on what it was laid on: of its part, warm, of whatever resin."""

from curewatch.jobs import Layer, layer_as_plain
from curewatch.materials import Resin, load_resin
from curewatch.model.film.lots import Lot
from curewatch.record.laid import buildup
from curewatch.units import DAY, HOUR


def test_a_layer_of_another_resin_below_gives_its_heat_in_the_record() -> None:
    """Its own resin and dose; not of another part, not after a day, and its own kind without a lot."""
    told = [
        Layer("L1", -2 * DAY, "epoxy-slow", part="bow"),
        Layer("L2", -3 * HOUR, "polyester-laminating", peroxide_percent=1.0, part="bow", thickness=3e-3),
        Layer("L3", -2 * HOUR, "vinyl-ester", part="bow", thickness=2e-3),
        Layer("L4", -1 * HOUR, "epoxy-fast", part="stern"),
    ]
    asked: list[tuple[str, str | None, str]] = []

    def resin_of(name: str, lot: str | None, layer: str) -> Resin:
        asked.append((name, lot, layer))
        return load_resin(name)

    upper = layer_as_plain(Layer("L5", 0.0, "vinyl-ester", part="bow"))
    found = buildup(upper, [*map(layer_as_plain, told), upper], None, resin_of)
    assert found is not None
    lower = load_resin("polyester-laminating")
    assert [(ply.at, ply.thickness) for ply in found.before] == [(-3 * HOUR, 3e-3), (-2 * HOUR, 2e-3)]
    assert [ply.lot for ply in found.before] == [Lot(lower, lower.dose_factor(1.0)), None]
    assert ("polyester-laminating", None, "L2") in asked
    assert {layer for *_, layer in asked} == {"L2", "L3", "L5"}  # not of another part, not after a day
