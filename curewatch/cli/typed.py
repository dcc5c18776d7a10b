"""What people type: moments, spans of time, masses, temperatures, each with its unit or without.

A refusal says what was typed, what is allowed, and shows one that works.
"""

import re
from datetime import datetime, timedelta, tzinfo

from curewatch.clock import utc_from_iso
from curewatch.errors import UsageError
from curewatch.units import (
    fahrenheit_from_kelvin,
    gram_from_ounce,
    kelvin_from_celsius,
    kelvin_from_fahrenheit,
    kilogram_from_gram,
)

_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_SPAN = re.compile(rf"({_NUMBER})\s*(s|sec|min|minutes?|m|h|hours?|d|days?)?")
PAST = 3600.0  # s: a start is not asked for that lies further back
LONGEST = 20 * 365.25 * 86400.0  # s: nothing that is told, asked or kept here is further away (assumed)
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}


def span_from_text(text: str, option: str = "--ago") -> float:
    """Seconds from ``20 min``, ``1h30``, ``1 h 30 min``, ``90 s``; a bare number is minutes.

    Raises
    ------
    UsageError
        It is not a span of time.
    """
    parts = _SPAN.findall(text.strip().lower())
    if not parts or _SPAN.sub("", text.strip().lower()).strip(" ,"):
        raise UsageError(f"{option} {text!r} is not a span of time; write 20 min, 1 h 30 min or 90 s")
    total, unit = 0.0, "m"
    for number, named in parts:
        unit = named[0] if named else ("m" if unit in "mh" else unit)
        total += float(number.replace(",", ".")) * _SECONDS[unit]
    if total > LONGEST:
        raise UsageError(f"{option} {text!r} is longer than 20 years; write 20 min, 1 h 30 min or 90 s")
    return total


_HOUR = re.compile(r"(\d{1,2})[:.h](\d{2})\s*(am|pm)?")


def moment_from_text(text: str, zone: tzinfo, now: float, *, ahead: bool, option: str = "--at") -> float:
    """UTC seconds from ``21:40``, ``9:40 pm``, ``2026-11-25 21:40`` or ISO 8601, in the shed's zone.

    An hour without a date is the nearest one ``ahead``, or the nearest one behind. An hour that a
    clock change makes twice is the one nearest to now on that side.

    Raises
    ------
    UsageError
        It is not a moment, or it is an hour that a clock change leaves out on that day.
    """
    said = text.strip().lower()
    if said == "now":
        return now
    allowed = "write 21:40, 9:40 pm or 2026-11-25 21:40 (the shed's time), or ISO 8601"
    hour = _HOUR.fullmatch(said)
    if hour:
        return _nearest(_of_day(hour, text, option, allowed), zone, now, ahead, f"{option} {text!r}")
    try:
        stamp = datetime.fromisoformat(text.strip().replace(" ", "T", 1))
    except ValueError as trouble:
        raise UsageError(f"{option} {text!r} is not a moment; {allowed}") from trouble
    if not 1970 < stamp.year < 2200:
        raise UsageError(f"{option} {text!r} is far from now; {allowed}")
    if stamp.tzinfo is not None:
        moments = [utc_from_iso(text.strip().replace(" ", "T", 1))]
    else:
        moments = _moments(stamp, zone)
    if not moments:
        raise UsageError(f"{option} {text!r} does not exist in {zone}: the clocks jump over it")
    if ahead and moments[0] < now - PAST:
        raise UsageError(f"{option} {text!r} is past: a start is now, or still to come; {allowed}")
    if abs(moments[0] - now) > LONGEST:
        raise UsageError(f"{option} {text!r} is more than 20 years away; {allowed}")
    return moments[0]


def past_from_text(text: str, zone: tzinfo, now: float, *, option: str = "--at") -> float:
    """UTC seconds of something that has happened, told either way: ``now``, ``20 min ago``, ``21:40``.

    Raises
    ------
    UsageError
        It is neither, or it is still to come.
    """
    said = text.strip().lower()
    ago = said.removesuffix("ago").strip()
    if not _HOUR.fullmatch(said) and _SPAN.fullmatch(ago.split(" ")[0] + "m") and len(ago.split(" ")[0]) < 4:
        return now - span_from_text(ago, option)
    moment = moment_from_text(text, zone, now, ahead=False, option=option)
    if moment > now + 1:
        raise UsageError(f"{option} {text!r} is still to come; only what has happened can be told")
    return moment


def _of_day(hour: re.Match[str], text: str, option: str, allowed: str) -> tuple[int, int]:
    hours, minutes, half = int(hour[1]), int(hour[2]), hour[3]
    if (half and not 1 <= hours <= 12) or hours > 23 or minutes > 59:
        raise UsageError(f"{option} {text!r} is not an hour of the day; {allowed}")
    if half:
        hours = hours % 12 + (12 if half == "pm" else 0)
    return hours, minutes


def _nearest(of_day: tuple[int, int], zone: tzinfo, now: float, ahead: bool, said: str) -> float:
    today = datetime.fromtimestamp(now, zone).replace(
        hour=of_day[0], minute=of_day[1], second=0, microsecond=0, tzinfo=None, fold=0
    )
    moments = [moment for days in (-1, 0, 1) for moment in _moments(today + timedelta(days=days), zone)]
    fitting = [moment for moment in moments if (moment >= now - 60 if ahead else moment <= now + 60)]
    if not fitting:
        raise UsageError(f"{said} does not exist today in {zone}: the clocks jump over it; give the date")
    return min(fitting) if ahead else max(fitting)


def _moments(local: datetime, zone: tzinfo) -> list[float]:
    """The UTC seconds a local time stands for: one; two when the clocks go back; none when they jump."""
    found = []
    for fold in (0, 1):
        moment = local.replace(tzinfo=zone, fold=fold).timestamp()
        if datetime.fromtimestamp(moment, zone).replace(tzinfo=None, fold=0) == local.replace(fold=0):
            found.append(moment)
    return sorted(set(found))


def batch_mass_from_text(text: str, option: str = "--mass") -> float:
    """Kilograms of what is mixed in one pot.

    Raises
    ------
    UsageError
        It is not a mass, or not one that is mixed in a pot by hand.
    """
    mass = mass_from_text(text, option)
    if not 0.001 <= mass <= 20.0:
        raise UsageError(f"{option} {text!r}; allowed: 1 g to 20 kg")
    return mass


def mass_from_text(text: str, option: str = "--mass") -> float:
    """Kilograms from ``150``, ``150 g``, ``5.5 oz``, ``0.2 kg``; a bare number is grams.

    Raises
    ------
    UsageError
        It is not a mass above zero.
    """
    given = re.fullmatch(rf"({_NUMBER})\s*(g|kg|oz)?", text.strip().lower())
    if not given or not float(given[1].replace(",", ".")) > 0:
        raise UsageError(f"{option} {text!r} is not a mass; write 150 g, 0.2 kg or 5.5 oz")
    number, unit = float(given[1].replace(",", ".")), given[2] or "g"
    if number > 1e6:
        raise UsageError(
            f"{option} {text!r} is more than any scale here weighs; write 150 g, 0.2 kg or 5.5 oz"
        )
    if unit == "kg":
        return number
    return kilogram_from_gram(gram_from_ounce(number) if unit == "oz" else number)


def both_scales(lowest_c: float, highest_c: float) -> str:
    """``-60 to 250 °C (-76 to 482 °F)``: a refusal is understood whichever one was typed."""
    low, high = (fahrenheit_from_kelvin(kelvin_from_celsius(each)) for each in (lowest_c, highest_c))
    return f"{lowest_c:g} to {highest_c:g} °C ({low:g} to {high:g} °F)"


def temperature_from_text(text: str, option: str = "--temperature") -> float:
    """Kelvin from ``12``, ``12 C``, ``54 F``; a bare number is degC.

    Raises
    ------
    UsageError
        It is not a temperature between -60 and 250 degC.
    """
    given = re.fullmatch(rf"(-?{_NUMBER})\s*(?:°|deg)?\s*(c|f)?", text.strip().lower())
    if not given:
        raise UsageError(f"{option} {text!r} is not a temperature; write 12 C or 54 F")
    number = float(given[1].replace(",", "."))
    kelvin = kelvin_from_fahrenheit(number) if given[2] == "f" else kelvin_from_celsius(number)
    if not 213.15 <= kelvin <= 523.15:
        raise UsageError(f"{option} {text!r} is outside {both_scales(-60, 250)}")
    return kelvin


_METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254}  # the inch is exact by definition


def length_from_text(text: str, option: str = "--length") -> float:
    """Metres from ``80``, ``80 mm``, ``8 cm``, ``0.4 m``, ``3.5 in``; a bare number is millimetres.

    Raises
    ------
    UsageError
        It is not a length.
    """
    given = re.fullmatch(rf"({_NUMBER})\s*(mm|cm|m|in)?", text.strip().lower())
    if not given:
        raise UsageError(f"{option} {text!r} is not a length; write 80 mm, 8 cm, 0.4 m or 3.5 in")
    return float(given[1].replace(",", ".")) * _METRES[given[2] or "mm"]
