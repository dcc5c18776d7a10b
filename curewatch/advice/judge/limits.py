"""The lines that decide, each with its value, its unit and where it comes from.

Order of precedence: the user's own, then the resin system's own sheet, then what is published, then
common practice. A user's own value is used and shown as such, with what it replaced.
"""

from collections.abc import Callable, Mapping

from msgspec import Struct
from msgspec.structs import fields, replace

from curewatch.errors import ConfigurationError
from curewatch.materials.resin import Resin
from curewatch.units import MINUTE, fraction_from_percent, kelvin_from_celsius


class Limit(Struct, frozen=True):
    """One line that decides. ``quantity`` names how the SI value is shown at the border."""

    value: float
    quantity: str  # temperature [K] | difference [K] | fraction [1] | duration [s] | number [1]
    tag: str  # datasheet | published | common practice | assumed | user's own
    source: str
    replaces: str = ""  # what a user's own value stands in for


class Limits(Struct, frozen=True):
    """Every line the advice decides by."""

    condensation_margin: Limit  # surface temperature above the dew point, at least
    humidity_highest: Limit
    temperature_lowest: Limit  # of air and surface, from the start until tack-free
    temperature_highest: Limit
    reading_age: Limit  # older than this is stale
    probability: Limit  # the chance, sensors' errors and all, that every check must hold with


def standard() -> Limits:
    """The lines that hold for any resin; temperatures here are wide, a resin narrows them."""
    return Limits(
        condensation_margin=Limit(3.0, "difference", "published", "ISO 8502-4 practice"),
        humidity_highest=Limit(0.85, "fraction", "common practice", "coating work: below 85 %"),
        temperature_lowest=Limit(273.15, "temperature", "assumed", "water freezes on the surface"),
        temperature_highest=Limit(313.15, "temperature", "assumed", "few hand-laid resins allow more"),
        reading_age=Limit(15 * MINUTE, "duration", "assumed", "a closed shed moves about 0.5 K in this time"),
        probability=Limit(0.80, "fraction", "assumed", "eight times in ten every check holds until set"),
    )


# key in the configuration's [limits] -> (field, from the border's unit to SI, lowest, highest at the border)
OWN: dict[str, tuple[str, Callable[[float], float], float, float]] = {
    "condensation_margin_k": ("condensation_margin", float, 0.0, 15.0),
    "humidity_highest_percent": ("humidity_highest", fraction_from_percent, 1.0, 100.0),
    "temperature_lowest_c": ("temperature_lowest", kelvin_from_celsius, -10.0, 40.0),
    "temperature_highest_c": ("temperature_highest", kelvin_from_celsius, 5.0, 60.0),
    "reading_age_minutes": ("reading_age", lambda minutes: minutes * MINUTE, 0.5, 180.0),
    "probability": ("probability", float, 0.5, 0.99),
}


RULES = ("coating", "datasheet", "classed-workshop")


def for_resin(resin: Resin, own: Mapping[str, float] | None = None, rules: str = "coating") -> Limits:
    """The lines for one resin system: the rule set's, narrowed by its sheet, then the user's own.

    ``own`` has each number in the unit of its key [°C, %, K].

    Raises
    ------
    ConfigurationError
        A key of ``own`` or the rule set is not known, or a value lies outside what makes sense.
    """
    if rules not in RULES:
        raise ConfigurationError(rules, ", ".join(RULES), key="limits.rules")
    lines = standard()
    lines = replace(
        lines,
        temperature_lowest=_of_sheet(resin, "lowest_temperature", lines.temperature_lowest),
        temperature_highest=_of_sheet(resin, "highest_temperature", lines.temperature_highest),
    )
    sheet = _of_sheet(resin, "highest_humidity", lines.humidity_highest)
    if rules == "datasheet" or sheet.value < lines.humidity_highest.value:
        lines = replace(lines, humidity_highest=sheet)
    if rules == "classed-workshop":
        lines = _classed(lines)
    return with_own(lines, own or {})


def _of_sheet(resin: Resin, name: str, instead: Limit) -> Limit:
    """A limit as the resin's own file states it, with the origin the file gives."""
    origin = resin.origins.get(f"limits.{name}")
    tag = origin.tag if origin else "datasheet"
    source = f"{resin.name}: {origin.source}" if origin else f"{resin.name}: its sheet"
    return Limit(
        getattr(resin.limits, name), instead.quantity, "datasheet" if tag == "sheet" else tag, source
    )


def _classed(lines: Limits) -> Limits:
    """Warmth and dryness as a classification society's text for FRP workshops asks for them."""
    source = "classification-society text for FRP workshops"
    warm = Limit(291.15, "temperature", "published", f"{source}: 18 degC or more")
    dry = Limit(0.80, "fraction", "published", f"{source}: 80 % or less")
    return replace(
        lines,
        temperature_lowest=max(warm, lines.temperature_lowest, key=lambda line: line.value),
        humidity_highest=min(dry, lines.humidity_highest, key=lambda line: line.value),
    )


def with_own(limits: Limits, own: Mapping[str, float]) -> Limits:
    """The same lines with the user's own in place of some of them, marked as the user's own.

    ``own`` has each number in the unit of its key [°C, %, K].

    Raises
    ------
    ConfigurationError
        A limit of no such name, or a value beyond what it may be.
    """
    changed = {}
    for key, at_border in own.items():
        if key not in OWN:
            raise ConfigurationError(key, ", ".join(OWN), key=f"limits.{key}")
        name, to_si, lowest, highest = OWN[key]
        if not lowest <= at_border <= highest:
            raise ConfigurationError(f"{at_border:g}", f"{lowest:g} to {highest:g}", key=f"limits.{key}")
        before: Limit = getattr(limits, name)
        changed[name] = Limit(
            to_si(float(at_border)),
            before.quantity,
            "user's own",
            f"limits.{key} in your configuration",
            replaces=f"{before.tag}: {before.source}",
        )
    return replace(limits, **changed)


def each(limits: Limits) -> dict[str, Limit]:
    """The lines by name, in order."""
    return {line.name: getattr(limits, line.name) for line in fields(limits)}
