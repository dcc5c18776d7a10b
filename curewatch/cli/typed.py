"""What people type: moments, spans of time, masses, temperatures, each with its unit or without.

A refusal says what was typed, what is allowed, and shows one that works.
"""

import math
import re
from datetime import datetime, timedelta, tzinfo

from curewatch.cli.terminal import note
from curewatch.clock import utc_from_iso
from curewatch.errors import UsageError
from curewatch.units import (
    celsius_from_kelvin,
    fahrenheit_from_kelvin,
    gram_from_ounce,
    kelvin_from_celsius,
    kelvin_from_fahrenheit,
    kilogram_from_gram,
)
from curewatch.wording import Wording, number_of

HEAVIEST = 20.0  # kg mixed in one pot by hand (assumed)
CURED_AT = (-30, 150)  # degC at which a resin of the shed may be cured (assumed)
SHED = (-30, 50)  # degC of a shed's air and of the work in it (assumed)
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_SPAN = re.compile(
    rf"({_NUMBER})\s*(seconds?|secs?|s|minutes?|mins?|m|hours?|hrs?|h|days?|d|weeks?|wks?|w)?(?![a-z])"
)
PAST = 3600.0  # s: a start is not asked for that lies further back
LONGEST = 20 * 365.25 * 86400.0  # s: nothing that is told, asked or kept here is further away (assumed)
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0, "w": 604800.0}
_RUN_TOGETHER = re.compile(r"(?<=[a-z])(?=[0-9])")  # 1h30


def span_from_text(text: str, option: str = "--ago") -> float:
    """Seconds from ``20 min``, ``5 days``, ``1h30``, ``1 h 30 min``, ``90 s``; a bare number is minutes.

    Raises
    ------
    UsageError
        It is not a span of time.
    """
    said = _RUN_TOGETHER.sub(" ", text.strip().lower())
    parts = _SPAN.findall(said)
    if not parts or _SPAN.sub("", said).strip(" ,"):
        raise UsageError(f"{option}: found {text!r}. Use a span of time: 20 min, 1 h 30 min, 5 days")
    total, unit = 0.0, "m"
    for number, named in parts:
        unit = named[0] if named else ("m" if unit in "mh" else unit)
        total += float(number.replace(",", ".")) * _SECONDS[unit]
    if total > LONGEST:
        raise UsageError(f"{option}: found {text!r}, more than 20 years. Use 20 min, 1 h 30 min or 5 days")
    return total


def face_from_text(text: str | None, option: str = "--on") -> str | None:
    """What lies below, by its word or the begin of just one.

    Raises
    ------
    UsageError
        It is not such a face.
    """
    from curewatch.jobs import FaceBelow

    if text is None:
        return None
    said = text.strip().lower().replace(" ", "-")
    near = [face.value for face in FaceBelow if said and face.value.startswith(said)]
    if len(near) != 1:
        raise UsageError(f"{option}: found {text!r}. Use {', '.join(FaceBelow)}")
    return near[0]


def moisture_from_text(text: str | None, option: str = "--moisture") -> float | None:
    """A meter's word as a share of dry mass. [1]

    Raises
    ------
    UsageError
        It is not a number of per cent that a meter can show.
    """
    if text is None:
        return None
    number = re.fullmatch(rf"\s*({_NUMBER})\s*%?\s*", text)
    percent = float(number[1].replace(",", ".")) if number else -1.0
    if not 1.0 <= percent <= 100.0:
        raise UsageError(f"{option}: found {text!r}. Use 1 to 100 %, or leave it out where nobody measured")
    return percent / 100.0


_HOUR = re.compile(r"(?:(today|yesterday)\s+)?(\d{1,2})(?:[:.h](\d{2})\s*(am|pm)?|\s*(am|pm))")
_DAY = re.compile(r"(\d{1,2})([/.])(\d{1,2})(?:\2(\d{4}))?(?:[ ,]+(.+))?")


def moment_from_text(text: str, zone: tzinfo, now: float, *, ahead: bool, option: str = "--at") -> float:
    """UTC seconds from ``21:40``, ``9pm``, ``28/11/2026 14:00``, ISO 8601 and the like, in the shed's zone.

    An hour without a date is the nearest one ``ahead``, or the nearest one behind. One that lies nearer
    ahead than behind is never taken for yesterday's. An hour that a clock change makes twice is the one
    nearest to now on that side.

    Raises
    ------
    UsageError
        It is not a moment, an hour that a clock change leaves out on that day, or one still to come.
    """
    said = text.strip().lower()
    if said == "now":
        return now
    allowed = "Use 21:40, 9pm or 2026-11-25 21:40 (the shed's time), or ISO 8601"
    hour = _HOUR.fullmatch(said)
    if hour and hour[1] is None:
        return _nearest(_of_day(hour, text, option, allowed), zone, now, ahead, f"{option} {text!r}")
    dated = _dated(said, hour, zone, now, f"{option}: found {text!r}")
    try:
        stamp = datetime.fromisoformat((dated or text.strip()).replace(" ", "T", 1))
    except ValueError as trouble:
        raise UsageError(f"{option}: found {text!r}, no moment. {allowed}") from trouble
    if not 1970 < stamp.year < 2200:
        raise UsageError(f"{option}: found {text!r}, far from now. {allowed}")
    if stamp.tzinfo is not None:
        moments = [utc_from_iso(text.strip().replace(" ", "T", 1))]
    else:
        moments = _moments(stamp, zone)
    if not moments:
        raise UsageError(f"{option}: found {text!r}, which the clocks of {zone} jump over. Use another time")
    if ahead and moments[0] < now - PAST:
        raise UsageError(
            f"{option}: found {text!r}, which is past. A start is now, or still to come. {allowed}"
        )
    if abs(moments[0] - now) > LONGEST:
        raise UsageError(f"{option}: found {text!r}, more than 20 years away. {allowed}")
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
    if not _HOUR.fullmatch(said) and not _DAY.fullmatch(said) and _is_span(ago):
        return now - span_from_text(ago, option)
    moment = moment_from_text(text, zone, now, ahead=False, option=option)
    if moment > now + 1:
        raise UsageError(f"{option}: found {text!r}, still to come. Use a time that has passed")
    return moment


def _is_span(said: str) -> bool:
    """``20 min`` and ``20``; not ``2026`` and not ``2140``."""
    return not re.fullmatch(r"\d{4,}", said) and not _SPAN.sub("", _RUN_TOGETHER.sub(" ", said)).strip(" ,")


def _dated(said: str, hour: re.Match[str] | None, zone: tzinfo, now: float, found: str) -> str | None:
    """``yesterday 9pm`` and ``28/11/2026 14:00`` as ISO 8601; None where it is neither.

    Raises
    ------
    UsageError
        It could be two dates.
    """
    if hour is not None:
        back = timedelta(days=1) if hour[1] == "yesterday" else timedelta()
        date = datetime.fromtimestamp(now, zone).date() - back
        return "{}T{:02d}:{:02d}".format(date, *_of_day(hour, said, "the time", ""))
    day = _DAY.fullmatch(said)
    if day is None:
        return None
    one, other = int(day[1]), int(day[3])
    year = int(day[4] or datetime.fromtimestamp(now, zone).year)
    at = _HOUR.fullmatch(day[5] or "0:00")
    if at is None or at[1] is not None:
        return None
    time = "{:02d}:{:02d}".format(*_of_day(at, said, "the time", ""))
    days = {f"{year}-{month:02d}-{of:02d}" for of, month in ((one, other), (other, one)) if month <= 12}
    if day[2] == ".":  # the day first, wherever dots part a date
        days = {f"{year}-{other:02d}-{one:02d}"}
    if len(days) > 1:
        raise UsageError(f"{found}, which could be two dates. Use {' or '.join(sorted(days))} {time}")
    return f"{days.pop()}T{time}" if days else None


def _of_day(hour: re.Match[str], text: str, option: str, allowed: str) -> tuple[int, int]:
    hours, minutes, half = int(hour[2]), int(hour[3] or 0), hour[4] or hour[5]
    if (half and not 1 <= hours <= 12) or hours > 23 or minutes > 59:
        raise UsageError(f"{option}: found {text!r}, no hour of the day. {allowed}".strip())
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
        raise UsageError(f"{said}: found a time that the clocks of {zone} jump over today. Use the date, too")
    if ahead:
        return min(fitting)
    coming = min((moment for moment in moments if moment > now + 60), default=math.inf)
    yesterday = datetime.fromtimestamp(max(fitting), zone)
    if yesterday.date() < today.date() and coming - now < now - max(fitting):
        raise UsageError(f"{said} is still to come. Use {yesterday:%Y-%m-%d %H:%M} if it was yesterday")
    return max(fitting)


def _moments(local: datetime, zone: tzinfo) -> list[float]:
    """The UTC seconds a local time stands for: one; two when the clocks go back; none when they jump."""
    found = []
    for fold in (0, 1):
        moment = local.replace(tzinfo=zone, fold=fold).timestamp()
        if datetime.fromtimestamp(moment, zone).replace(tzinfo=None, fold=0) == local.replace(fold=0):
            found.append(moment)
    return sorted(set(found))


def batch_mass_from_text(text: str, option: str = "--mass", words: Wording | None = None) -> float:
    """Kilograms of what is mixed in one pot.

    Raises
    ------
    UsageError
        It is not a mass, or not one that is mixed in a pot by hand.
    """
    mass = mass_from_text(text, option, words)
    if not 0.001 <= mass <= HEAVIEST:
        raise UsageError(f"{option}: found {text!r}. Use 1 g to {HEAVIEST:g} kg")
    return mass


def added_mass_from_text(text: str, option: str, words: Wording | None = None) -> float:
    """Kilograms of hardener or peroxide: a small cup takes a tenth of a gram.

    Raises
    ------
    UsageError
        It is not a mass, or more than is mixed in a pot by hand.
    """
    mass = mass_from_text(text, option, words)
    if mass > HEAVIEST:
        raise UsageError(f"{option}: found {text!r}. Use at most {HEAVIEST:g} kg")
    return mass


_MASSES = {"kg": 1.0, "g": 0.001, "oz": kilogram_from_gram(gram_from_ounce(1.0)), "lb": 0.45359237}
_GROUPING = {"g": ".,", "oz": ","}  # nobody weighs a thousandth of a gram here, or a thousand kilograms


def mass_from_text(text: str, option: str = "--mass", words: Wording | None = None) -> float:
    """Kilograms from ``150 g``, ``5.5 oz``, ``0,2 kg``, ``1 lb``.

    A bare number is grams, or ounces for who reads ounces, and that is said.

    Raises
    ------
    UsageError
        It is not a mass above zero, or may be two.
    """
    given = re.fullmatch(rf"({_NUMBER})\s*(g|gr|grams?|kg|oz|ounces?|lbs?)?", text.strip().lower())
    unit = {"g": "g", "k": "kg", "o": "oz", "l": "lb"}.get(((given and given[2]) or "")[:1])
    meant = unit or ("oz" if words and words.ounces else "g")
    number = number_of(given[1], text, option, _GROUPING.get(meant, "")) if given else 0.0
    if not number > 0:
        raise UsageError(f"{option}: found {text!r}, no mass. Use 150 g, 0.2 kg or 5.5 oz")
    if number > 1e6:
        raise UsageError(f"{option}: found {text!r}, more than any scale here. Use 150 g, 0.2 kg or 5.5 oz")
    return number * _MASSES[unit or _bare(text, option, meant)]


def _bare(text: str, option: str, unit: str) -> str:
    """The unit of a bare number: said where it is not the usual one."""
    if unit in {"oz", "°F"}:
        note(f"{option} {text.strip()} is read as {text.strip()} {unit}")
    return unit


def both_scales(lowest_c: float, highest_c: float) -> str:
    """``-60 to 250 °C (-76 to 482 °F)``: a refusal is understood whichever one was typed."""
    low, high = (fahrenheit_from_kelvin(kelvin_from_celsius(each)) for each in (lowest_c, highest_c))
    return f"{lowest_c:g} to {highest_c:g} °C ({low:g} to {high:g} °F)"


def temperature_from_text(
    text: str,
    option: str = "--temperature",
    words: Wording | None = None,
    within: tuple[int, int] = (-60, 250),
) -> float:
    """Kelvin from ``12 C``, ``54F``, ``-3,5``.

    A bare number is degC, or degF for who reads Fahrenheit, and that is said.

    Raises
    ------
    UsageError
        It is not a temperature within these. [degC]
    """
    said = text.strip().lower().replace("\N{MINUS SIGN}", "-")
    given = re.fullmatch(rf"(-?{_NUMBER})\s*(?:°|degrees?|deg)?\s*(c|f|celsius|fahrenheit)?", said)
    if not given:
        raise UsageError(f"{option}: found {text!r}, no temperature. Use 12 C or 54 F")
    number = float(given[1].replace(",", "."))
    unit = given[2] or _bare(text, option, "°F" if words and words.fahrenheit else "c")
    fahrenheit = unit[0] == "f" or unit == "°F"
    kelvin = kelvin_from_fahrenheit(number) if fahrenheit else kelvin_from_celsius(number)
    if not within[0] <= round(celsius_from_kelvin(kelvin), 6) <= within[1]:
        raise UsageError(f"{option}: found {text!r}. Use {both_scales(*within)}")
    return kelvin


def cure_temperature_from_text(text: str, words: Wording | None = None) -> float:
    """Kelvin of a film that cures.

    Raises
    ------
    UsageError
        It is not a temperature, or none that a resin of the shed was ever cured at.
    """
    return temperature_from_text(text, words=words, within=CURED_AT)
