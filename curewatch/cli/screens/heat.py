"""What heat does to a batch in its cup and to a thick laminate, as lines and as plain values. Pure."""

import math
from typing import Any, NamedTuple

from curewatch.advice.judge.cautions import Caution
from curewatch.cli.screens.cure import paragraph
from curewatch.model.mass.laminate import HOT, Laminate, LayerCount
from curewatch.model.mass.pot import Pot
from curewatch.units import celsius_from_kelvin, gram_from_kilogram
from curewatch.wording import Wording, duration


class Cup(NamedTuple):
    """A batch, and the same with a slow and a fast lot."""

    mass: float  # [kg]
    shape: str
    air_temperature: float  # [K]
    slow: Pot
    likely: Pot
    fast: Pot


class Build(NamedTuple):
    """A thick laminate, and how many layers may go on in one go."""

    thickness: float  # [m]
    layer: float  # [m]
    substrate: str
    laminate: Laminate
    at_once: LayerCount


def cup_lines(cup: Cup, words: Wording) -> list[str]:
    """The batch in its cup."""
    quick, usual, slow = (_when(each.pot_life) for each in (cup.fast, cup.likely, cup.slow))
    air, peak = words.temperature(cup.air_temperature), words.temperature(cup.likely.peak_temperature)
    thick = _when(cup.likely.working_life)
    said = paragraph(
        f"{words.mass(cup.mass)} in a {cup.shape}, air {air}: kicks after {usual} ({quick} to {slow}); "
        f"twice as thick after {thick}; peak {peak} after {duration(cup.likely.peak_time)}"
    )
    danger = paragraph(words.retold(Caution.POT_HEAT.value))
    return ["In the pot", *(danger if cup.fast.overheats else []), *said]


def build_lines(build: Build, words: Wording) -> list[str]:
    """The laminate."""
    whole, answer = build.laminate, build.at_once
    more = (
        f"one more would reach {words.temperature(answer.peak_of_one_more)}"
        if math.isfinite(answer.peak_of_one_more)
        else "or more"
    )
    count = f"{answer.layers} layer{'' if answer.layers == 1 else 's'} of {1000.0 * build.layer:.3g} mm"
    return [
        "The laminate",
        *paragraph(
            f"{1000.0 * build.thickness:.3g} mm on {build.substrate} at once: peak "
            f"{words.temperature(whole.peak_temperature)} after {duration(whole.peak_time)}, "
            f"gelled through after {_when(whole.gel)}"
        ),
        *paragraph(f"in one go, below {words.temperature(HOT)} (assumed limit): {count}; {more}"),
    ]


def cup_plain(cup: Cup) -> dict[str, Any]:
    """The batch for ``--json``."""
    return {
        "mass_g": round(gram_from_kilogram(cup.mass), 2),
        "shape": cup.shape,
        "air_temperature_c": round(celsius_from_kelvin(cup.air_temperature), 2),
        "pot_life_s": {
            name: _number(each.pot_life)
            for name, each in (("early", cup.fast), ("likely", cup.likely), ("late", cup.slow))
        },
        "working_life_s": _number(cup.likely.working_life),
        "peak_temperature_c": round(celsius_from_kelvin(cup.likely.peak_temperature), 2),
        "peak_s": _number(cup.likely.peak_time),
        "may_overheat": cup.fast.overheats,
        "biot": round(cup.likely.biot, 3),
    }


def build_plain(build: Build) -> dict[str, Any]:
    """The laminate for ``--json``."""
    return {
        "thickness_mm": round(1000.0 * build.thickness, 3),
        "substrate": build.substrate,
        "peak_temperature_c": round(celsius_from_kelvin(build.laminate.peak_temperature), 2),
        "peak_s": _number(build.laminate.peak_time),
        "gel_s": _number(build.laminate.gel),
        "layer_mm": round(1000.0 * build.layer, 3),
        "layers_in_one_go": build.at_once.layers,
        "limit_c": round(celsius_from_kelvin(HOT), 2),
        "peak_of_one_more_c": _number(celsius_from_kelvin(build.at_once.peak_of_one_more)),
    }


def _when(seconds: float) -> str:
    return duration(seconds) if math.isfinite(seconds) else "more than 6 h"


def _number(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
