"""The usual cautions, each said only at the moment it matters, in one line.

They speak of hurt; the verdict speaks of cure quality and never says "safe". Makers' sheets and local
rules come first, and the first line of every set says so.

Source
------
Styrene: OSHA 100 ppm (8 h), NIOSH 50, ACGIH 20 (published). Promoter and peroxide in direct contact:
boatbuilding manual (published). Water and carbon dioxide of burning propane: 1.63 and 2.99 kg per kg
(computed from C3H8 + 5 O2). The rest is common practice.
"""

from enum import Enum

BIG_POT = 0.3  # kg in one cup from which its heat is spoken of (assumed)


class Caution(Enum):
    """A line of caution."""

    SHEETS = "The makers' sheets and local rules come first; structural or classed work: a surveyor's matter."
    SKIN = "Uncured resin and hardener sensitise: gloves, no solvent on skin, no dust of green resin."
    POT_HEAT = (
        "A full cup heats itself and can pass 200 degC and smoke: spread it thin, never cap it, "
        "take a hot one outside."
    )
    PEROXIDE = (
        "Peroxide and cobalt promoter never touch each other directly: violent reaction. Eye protection."
    )
    STYRENE = "Styrene: air the shed or wear the right mask (limits 20 to 100 ppm); no flame, no spark."
    HEATER = (
        "An unflued heater gives 1.6 kg of water and carbon monoxide's danger with each kg of gas: "
        "vent it, mind fire near solvents."
    )
    DUST = "Abrading: mask and extraction; wash blush off with water first, or it is rubbed in."


def for_layup(kind: str, batch_mass: float | None = None, *, abrading: bool = False) -> tuple[str, ...]:
    """The cautions for laying up this kind of resin: sheets first, then what applies."""
    said = [Caution.SHEETS]
    if kind == "epoxy":
        said.append(Caution.SKIN)
    else:
        said += [Caution.PEROXIDE, Caution.STYRENE]
    if batch_mass is not None and batch_mass >= BIG_POT:
        said.append(Caution.POT_HEAT)
    if abrading:
        said.append(Caution.DUST)
    return tuple(caution.value for caution in said)
