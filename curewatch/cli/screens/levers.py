"""The levers in words: their cautions, then what to do, how much it takes and the chance that it holds."""

from collections.abc import Iterator, Sequence

from curewatch.answers.tonight import LeverDocument
from curewatch.wording import Wording


def lines(levers: Sequence[LeverDocument], wording: Wording, start: float) -> Iterator[str]:
    """The cautions of their steps, each once; then one numbered sentence a lever, the least effort first."""
    yield from dict.fromkeys(wording.say(each.warning) for each in levers if each.warning)
    for number, lever in enumerate(levers, start=1):
        takes = "; ".join(
            filter(None, (_takes(lever), "" if lever.besides is None else _takes(lever.besides)))
        )
        yield f"{number}. {wording.say(lever.step, start)}{f'; {takes}' if takes else ''}."


def _takes(lever: LeverDocument) -> str:
    """Power, energy and water; empty where it takes none."""
    if lever.kind == "warm":
        return f"up to {(lever.power_w or 0) / 1000:.1f} kW, {lever.energy_kwh or 0.0:.0f} kWh"
    if lever.kind == "surface" and lever.power_w_per_m2:
        return f"up to {lever.power_w_per_m2} W/m² of blanket"
    if lever.kind == "dry" and lever.water_kg is not None:
        return f"{lever.water_kg:.1f} kg of water out"
    return ""
