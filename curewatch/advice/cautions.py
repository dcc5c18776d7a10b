"""The usual cautions, each said only at the moment it matters: hazard, harm, what to do.

The signal words are those of ISO 3864 and ANSI Z535: DANGER kills or maims, WARNING can.

They speak of hurt; the verdict speaks of cure quality and never says "safe". Makers' sheets and local
rules come first, and the first line of every set says so.

Source
------
Styrene: OSHA 100 ppm (8 h), NIOSH 50, ACGIH 20 (published). Accelerator and peroxide in direct contact:
boatbuilding manual (published). Water and carbon dioxide of burning propane: 1.63 and 2.99 kg per kg
(computed from C3H8 + 5 O2). The rest is common practice.
"""

from enum import Enum

BIG_POT = 0.3  # kg in one cup from which its heat is spoken of (assumed)


class Caution(Enum):
    """A line of caution."""

    SHEETS = "The makers' sheets and local rules come first; structural or classed work: a surveyor's matter."
    SKIN = (
        "WARNING: resin and hardener can cause an allergy for life; hardener burns eyes. "
        "Wear gloves and eye protection. Never clean skin with solvent."
    )
    SKIN_PEROXIDE = (
        "WARNING: uncured resin can cause an allergy for life; peroxide can blind. "
        "Wear gloves and eye protection. Never clean skin with solvent."
    )
    POT_HEAT = (
        "A full cup heats itself and can pass 200 degC and smoke: spread it thin, never cap it, "
        "take a hot one outside."
    )
    PEROXIDE = (
        "DANGER: peroxide and cobalt accelerator explode when they touch. Never mix the two directly; "
        "stir the accelerator into the resin first."
    )
    STYRENE = (
        "DANGER: styrene vapour harms and burns (limits 20 to 100 ppm); low points hold it. "
        "Ventilate AND wear an organic-vapour filter. No flame, no spark."
    )
    HEATER = (
        "An unflued heater gives 1.6 kg of water and carbon monoxide's danger with each kg of gas: "
        "vent it, mind fire near solvents."
    )
    BLUSH = "Wash blush off with water before you sand: sanding rubs it in."
    DUST = (
        "WARNING: dust harms lungs; dust of green resin can cause an allergy for life. "
        "Wear a P3 filter (or the local equivalent) and gloves; use extraction."
    )
    OLD_PAINT = (
        "WARNING: old paint may hold lead or biocides. Before you sand it, have it tested or removed "
        "by local rules."
    )
    CARBON = "WARNING: carbon dust conducts electricity. Keep it away from electric tools and heaters."
    ELECTRIC = (
        "WARNING: electricity can kill in a damp place. Use a residual-current device; follow the local "
        "electrical code."
    )


def for_layup(kind: str, batch_mass: float | None = None, *, abrading: bool = False) -> tuple[str, ...]:
    """The cautions for laying up this kind of resin: sheets first, then what applies."""
    said = [Caution.SHEETS]
    if kind == "epoxy":
        said.append(Caution.SKIN)
    else:
        said += [Caution.SKIN_PEROXIDE, Caution.PEROXIDE, Caution.STYRENE]
    if batch_mass is not None and batch_mass >= BIG_POT:
        said.append(Caution.POT_HEAT)
    if abrading:
        said += [Caution.DUST, Caution.OLD_PAINT, Caution.CARBON, Caution.ELECTRIC]
    if abrading and kind == "epoxy":  # every epoxy here is cured by an amine; nothing else blushes
        said.append(Caution.BLUSH)
    return tuple(caution.value for caution in said)
