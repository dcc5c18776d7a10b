"""The usual cautions, each said only at the moment it matters: hazard, harm, what to do.

The signal words are those of ISO 3864 and ANSI Z535: DANGER kills or maims, WARNING can.

They speak of hurt; the verdict speaks of cure quality and never says "safe". Makers' sheets and local
rules come first, and the first line of every set says so.

Source
------
Styrene: OSHA 100 ppm (8 h), NIOSH 50, ACGIH 20 (published). Accelerator and peroxide in direct contact:
boatbuilding manual (published). The rest is common practice.
"""

from enum import Enum

from curewatch.materials.chemistry import Chemistry
from curewatch.materials.resin import Resin
from curewatch.model.film.lots import FAST, rate_factor_at
from curewatch.model.mass.pot import WATCHED, pot

DRY_STYRENE = (
    "DANGER: styrene vapour burns, and a dehumidifier has motors and switches. Ventilate until none is left."
)
WITHOUT_FLAME = (
    "by electric or flued heat or a thermostat blanket. No lamp, no flame. Use a residual-current device"
)
USUAL_AIR = 293.15  # K, a warm shed, where nobody measured


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
        "WARNING: a full cup heats itself, burns skin and can smoke. Use it up early; never cap it. "
        "Tip the rest out thin in a metal tray outdoors, uncovered, on something that cannot burn. "
        "If it smokes, do not carry it: leave the shed."
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
        "WARNING: carbon monoxide from an unflued burner kills, and its water causes blush. "
        "It is never proposed. Use electric or flued heat only, by local code."
    )
    HEAT_STYRENE = (
        "DANGER: styrene vapour burns. Use only a heat source that cannot ignite vapour: "
        "no flame, no glowing wire, no spark."
    )
    ATTEND = (
        "WARNING: an unwatched heater can start a fire. Stay with it while it is on, "
        "unless its maker lets it run alone with its thermostat."
    )
    BLANKET = (
        "WARNING: a lamp sets wet resin alight, and a warmed pot burns. Use a heated blanket with a "
        "thermostat, never a lamp over wet resin; never warm the mixed pot."
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
        "WARNING: electricity can kill in a damp place. Use a residual-current device: the local "
        "electrical code asks for it there. A licensed person where the code asks."
    )


# The same in a few words, for a screen of ten lines: signal word, hazard, harm, what to do.
BRIEF = {
    Caution.STYRENE: ("DANGER", "Styrene burns and harms: ventilate, organic-vapour filter, no flame."),
    Caution.HEAT_STYRENE: ("DANGER", "Vapour burns: no flame, no glowing wire, no spark."),
    Caution.PEROXIDE: ("DANGER", "Peroxide and cobalt explode: never mix the two."),
    Caution.SKIN: ("WARNING", "Allergy for life, burnt eyes: gloves, eye protection."),
    Caution.SKIN_PEROXIDE: ("WARNING", "Allergy for life, blindness: gloves, eye protection."),
    Caution.POT_HEAT: ("WARNING", "A full cup burns: use it up."),
    Caution.HEATER: ("WARNING", "Unflued burners kill: electric or flued heat only."),
    Caution.ELECTRIC: ("WARNING", "Electricity kills in the damp: residual-current device."),
    Caution.BLANKET: ("WARNING", "No lamp on wet resin, no heat on the mixed pot."),
    Caution.ATTEND: ("WARNING", "Heaters start fires: stay there."),
    Caution.DUST: ("WARNING", "Dust harms lungs, allergy for life: P3 filter, gloves, extraction."),
    Caution.OLD_PAINT: ("WARNING", "Old paint may hold lead: have it tested before you sand."),
    Caution.CARBON: ("WARNING", "Carbon dust conducts: keep it away from electric tools."),
    Caution.BLUSH: ("", "Wash blush off with water before you sand."),
}


def brief(said: str) -> str:
    """The cautions that stand in a text, in a few words; each signal word once, the gravest first."""
    found = {caution: BRIEF[caution] for caution in BRIEF if caution.value in said}
    if DRY_STYRENE in said:
        found = {Caution.STYRENE: BRIEF[Caution.STYRENE], **found}
    parts = []
    for signal in ("DANGER", "WARNING", ""):
        words = " ".join(text for at, text in found.values() if at == signal)
        parts += [f"{signal}: {words}" if signal else words] if words else []
    return " ".join(parts)


def for_layup(
    chemistry: Chemistry, *, pot_overheats: bool = False, abrading: bool = False
) -> tuple[str, ...]:
    """The cautions for laying up a resin of this chemistry: sheets first, then what applies."""
    said = [Caution.SHEETS]
    said += [Caution.SKIN_PEROXIDE, Caution.PEROXIDE] if chemistry.dosed else [Caution.SKIN]
    if chemistry.styrene:
        said.append(Caution.STYRENE)
    if pot_overheats:
        said.append(Caution.POT_HEAT)
    if abrading:
        said += [Caution.DUST, Caution.OLD_PAINT, Caution.CARBON, Caution.ELECTRIC]
    if abrading and chemistry.amine:
        said.append(Caution.BLUSH)
    return tuple(caution.value for caution in said)


def pot_overheats(
    resin: Resin,
    mass: float | None,
    air_temperature: float | None = None,
    peroxide_percent: float | None = None,
) -> bool:
    """Whether a cup of a fast lot overheats in this air. [kg], [K], per cent by mass of resin

    Raises
    ------
    OutOfValidity
        The air leaves the range of the cure law.
    """
    if mass is None:
        return False
    fast = rate_factor_at(resin, FAST)
    air = USUAL_AIR if air_temperature is None else air_temperature
    return pot(
        resin, mass, air, duration=WATCHED, rate_factor=fast, peroxide_percent=peroxide_percent
    ).overheats


def for_heating(chemistry: Chemistry, *, surface: bool = False) -> str:
    """What stands before a heating, of the shed or of the surface, near a resin of this chemistry."""
    styrene = (Caution.HEAT_STYRENE,) if chemistry.styrene else ()
    said = (*styrene, Caution.BLANKET if surface else Caution.HEATER, Caution.ELECTRIC, Caution.ATTEND)
    return " ".join(caution.value for caution in said)


def for_drying(chemistry: Chemistry) -> str:
    """What stands before a dehumidifier that is proposed near a resin of this chemistry."""
    return f"{DRY_STYRENE} {Caution.ELECTRIC.value}" if chemistry.styrene else Caution.ELECTRIC.value


def for_burner(burner: str) -> str:
    """Why the shed's own unflued burner is not among the levers."""
    return (
        f"Do not light the {burner} burner. WARNING: its carbon monoxide kills, and its water causes blush. "
        "Use electric or flued heat."
    )
