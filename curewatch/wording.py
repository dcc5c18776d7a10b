"""How numbers and times are said to people; in one place, for every room that says any.

Sums are never done in local time: a moment is UTC seconds until the very last step, where it becomes
the shed's local time, with the date when that is not today.
"""

import math
import os
import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any, Protocol

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.phrases import Fill, Said, Value, add, numbers_of, words_of
from curewatch.units import (
    MINUTE,
    Number,
    celsius_from_kelvin,
    cubic_metre_from_millilitre,
    fahrenheit_from_kelvin,
    fraction_from_percent,
    gram_from_kilogram,
    kelvin_from_celsius,
    kilogram_from_gram,
    ounce_from_gram,
    second_from_minute,
)

# Territories that say Fahrenheit and ounces, and those with a 12-hour clock: from memory, after Unicode CLDR.
_FAHRENHEIT = {"US", "BS", "BZ", "KY", "PW", "LR"}
_TWELVE_HOURS = {"US", "CA", "AU", "NZ", "IN", "PH", "ZA", "MY", "SG", "EG", "SA"}
SQUARE_YARD = 0.9144**2  # m², by the definition of the yard
UNKNOWN = "unknown"
MINUS = "−"  # U+2212: a hyphen is no sign
CERTAIN = 0.98  # from here on a chance is "almost certain": one path in fifty is below what is known (ours)
_DATE = re.compile(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2}\b(?! \d{4})")
STATED: dict[str, tuple[str, Callable[[float], float]]] = {  # unit of a document -> quantity, and into SI
    "degC": ("temperature", kelvin_from_celsius),
    "K": ("difference", float),
    "percent": ("fraction", fraction_from_percent),
    "g": ("mass", kilogram_from_gram),
    "g/m2": ("areal_mass", kilogram_from_gram),
    "ml": ("volume", cubic_metre_from_millilitre),
    "min": ("duration", second_from_minute),
    "s": ("duration", float),
    "1": ("number", float),
}
EITHER = ({"c", "f"}, {"g", "oz"}, {"24h", "12h"})
UNITS = set[str]().union(*EITHER)
UNITS_ALLOWED = "C or F, g or oz, 24h or 12h, e.g. F,oz,12h"


# 20 degC, -70 to -55 °C, 3 K, 100 g; not 0.2 W/(m K), not 450 g/m2
_STATED = re.compile(
    r"(?<![\w.])(?P<one>-?\d+(?:\.\d+)?)(?:(?P<between> (?:to|or|and) | ± )(?P<two>-?\d+(?:\.\d+)?))? ?"
    r"(?P<unit>degC|°C|K|g)(?![\w/])"
)


def number_of(digits: str, text: str, option: str, grouping: str = ",") -> float:
    """A number with a decimal point or comma; ``text`` is all that was typed.

    Raises
    ------
    UsageError
        It is like ``1,500``: with one of these marks some people part thousands, and others decimals.
    """
    if re.fullmatch(rf"[1-9][0-9]{{0,2}}[{grouping or ' '}][0-9]{{3}}", digits):
        either = f"{float(digits.replace(',', '.')):g} or {re.sub('[.,]', '', digits)}"
        raise UsageError(f"{option}: found {text!r}, which may be {either}. Write the one that is meant")
    return float(digits.replace(",", "."))


class Sayable(Protocol):
    """A sentence whose numbers are open: a phrase, or a part of a document."""

    def filled(self, fill: Fill) -> str:
        """The sentence, its numbers worded by ``fill``."""


class Wording(Struct, frozen=True):
    """How this person reads: the shed's zone, and units as they are used to."""

    zone: tzinfo = UTC
    fahrenheit: bool = False
    ounces: bool = False
    twelve_hours: bool = False

    def temperature(self, kelvin: float | None) -> str:
        """``9.4 °C``."""
        if kelvin is None or not math.isfinite(kelvin):
            return UNKNOWN
        return f"{_signed(self.temperatures(kelvin))} {self.temperature_unit}"

    def whole_degrees(self, celsius: float | None) -> str:
        """A glass transition, known to a degree: ``41 °C``. [degC]"""
        if celsius is None or not math.isfinite(celsius):
            return UNKNOWN
        return f"{_plain(round(self.temperatures(kelvin_from_celsius(celsius))))} {self.temperature_unit}"

    def peak(self, celsius: float | None) -> str:
        """The hottest that a pot gets, known to five degrees: ``85 °C``. [degC]"""
        if celsius is None or not math.isfinite(celsius):
            return UNKNOWN
        return f"{5 * round(self.temperatures(kelvin_from_celsius(celsius)) / 5)} {self.temperature_unit}"

    def difference(self, kelvin: float | None) -> str:
        """A difference of temperatures: ``3.1 °C``, or ``5.6 °F`` for who reads Fahrenheit."""
        if kelvin is None or not math.isfinite(kelvin):
            return UNKNOWN
        return f"{_signed(self.differences(kelvin))} {self.difference_unit}"

    @property
    def temperature_unit(self) -> str:
        return "°F" if self.fahrenheit else "°C"

    @property
    def difference_unit(self) -> str:
        return self.temperature_unit

    def temperatures(self, kelvin: Number) -> Number:
        """Temperatures in :attr:`temperature_unit`, for a chart."""
        return fahrenheit_from_kelvin(kelvin) if self.fahrenheit else celsius_from_kelvin(kelvin)

    def differences(self, kelvin: Number) -> Number:
        """Differences in :attr:`difference_unit`, for a chart."""
        return kelvin * 1.8 if self.fahrenheit else kelvin

    def percent(self, fraction: float | None) -> str:
        """``82 %``."""
        return UNKNOWN if fraction is None or not math.isfinite(fraction) else f"{fraction * 100:.0f} %"

    def chance(self, probability: float | None) -> str:
        """``8 in 10``, rounded down so that nobody is promised more; ``about even``, ``almost certain``."""
        if probability is None or not math.isfinite(probability):
            return UNKNOWN
        tenths = math.floor(10.0 * probability + 1e-9)
        if probability >= CERTAIN:
            return "almost certain"
        return (
            "about even"
            if 0.45 <= probability < 0.6
            else in_ten(probability)
            if tenths
            else "less than 1 in 10"
        )

    def asked(self, probability: float | None) -> str:
        """The chance from which a person wants a go: in tenths, or in per cent where it is finer."""
        if probability is None or abs(10.0 * probability - round(10.0 * probability)) > 1e-9:
            return self.percent(probability)
        return in_ten(probability)

    def mass(self, kilogram: float | None) -> str:
        """``150 g`` or ``5.29 oz``, as finely as a kitchen scale reads; tenths of a gram below 20 g.

        A tenth of an ounce is 2.8 g: in a small cup that alone would spoil a ratio.
        """
        if kilogram is None or not math.isfinite(kilogram):
            return UNKNOWN
        grams = gram_from_kilogram(kilogram)
        if self.ounces:
            ounces = ounce_from_gram(grams)
            return f"{ounces:.2f} oz" if ounces < 10 else f"{ounces:.1f} oz"
        return f"{grams:.1f} g" if grams < 20 else f"{grams:.0f} g"

    def weighed(self, kilogram: float) -> str:
        """A mass as the scale showed it, nothing rounded away: ``122.5 g``, ``4.32 oz``."""
        grams = gram_from_kilogram(kilogram)
        return f"{ounce_from_gram(grams):.3g} oz" if self.ounces else f"{grams:.4g} g"

    def areal_mass(self, kilogram_per_square_metre: float) -> str:
        """Of a cloth: ``450 g/m²``, ``13.3 oz/yd²``."""
        grams = gram_from_kilogram(kilogram_per_square_metre)
        return f"{ounce_from_gram(grams) * SQUARE_YARD:.1f} oz/yd²" if self.ounces else f"{grams:.0f} g/m²"

    def retold(self, text: str) -> str:
        """A text of ours that was written in degC, kelvin and grams (a source, a caution, a term), anew.

        Only for what stands in our own files; what people or other programs wrote is theirs.
        """
        return _STATED.sub(self._restated, text)

    def _restated(self, found: re.Match[str]) -> str:
        unit = found["unit"]
        if unit == "g" and not self.ounces:
            return found[0]
        convert: Callable[[float], float] = float
        if unit == "g" or self.fahrenheit:
            convert = {"K": lambda kelvin: 1.8 * kelvin, "g": ounce_from_gram}.get(unit, _fahrenheit)
        said = [_plain(convert(float(number))) for number in (found["one"], found["two"]) if number]
        return f"{(found['between'] or '').join(said)} {'oz' if unit == 'g' else self.temperature_unit}"

    def volume(self, cubic_metre: float | None) -> str:
        """``45 ml``, or litres from one on: pumps and cups are marked in ml on both sides of the sea."""
        if cubic_metre is None or not math.isfinite(cubic_metre):
            return UNKNOWN
        millilitres = cubic_metre * 1e6
        if millilitres >= 1000:
            return f"{millilitres / 1000:.2f} l"
        return f"{millilitres:.1f} ml" if millilitres < 20 else f"{millilitres:.0f} ml"

    def say(self, said: "Said | Sayable", now: float | None = None) -> str:
        """A sentence, its numbers as this person reads them; ``now`` is the moment of reading. [UTC s]"""
        if isinstance(said, str):
            return said
        return said.filled(lambda name, value: self.quantity(name, value, now))

    def quantity(self, name: str, value: float | None, now: float | None = None) -> str:
        """A value by the name of its quantity, as checks, limits and phrases carry it."""
        say: dict[str, Callable[[float | None], str]] = {
            "temperature": self.temperature,
            "difference": self.difference,
            "fraction": self.percent,
            "mass": self.mass,
            "areal_mass": lambda mass: UNKNOWN if mass is None else self.areal_mass(mass),
            "volume": self.volume,
            "weighed": lambda mass: UNKNOWN if mass is None else self.weighed(mass),
            "chance": self.chance,
            "in_ten": lambda probability: UNKNOWN if probability is None else in_ten(probability),
            "moment": lambda utc: self.moment(utc, now),
            "deadline": lambda utc: self.foreseen(utc, now, math.floor),
            "foreseen": lambda utc: self.foreseen(utc, now),
            "duration": lambda seconds: UNKNOWN if seconds is None else duration(seconds),
        }
        return say.get(name, _number)(value)

    def stated(self, value: float | None, unit: str) -> str:
        """A value as a document states it, in one of the units of :data:`STATED`."""
        quantity, to_si = STATED[unit]
        return self.quantity(quantity, None if value is None else to_si(value))

    def local(self, utc: float) -> datetime:
        return datetime.fromtimestamp(utc, self.zone)

    def time(self, utc: float) -> str:
        """The hour alone: ``21:40`` or ``9:40 pm``."""
        moment = self.local(utc)
        if not self.twelve_hours:
            return f"{moment:%H:%M}"
        return f"{moment.hour % 12 or 12}:{moment:%M} {'am' if moment.hour < 12 else 'pm'}"

    def hour(self, utc: float) -> str:
        """A full hour, as an axis has it: ``18:00`` or ``6 pm``."""
        return self.time(utc).replace(":00 ", " ")

    def stamp(self, utc: float) -> str:
        """Day and hour to the second, for lines that are read on any day: ``2026-11-25 21:40:05``."""
        then = self.local(utc)
        if not self.twelve_hours:
            return f"{then:%Y-%m-%d %H:%M:%S}"
        return f"{then:%Y-%m-%d} {then.hour % 12 or 12:2d}:{then:%M:%S} {'am' if then.hour < 12 else 'pm'}"

    def moment(self, utc: float | None, now: float | None) -> str:
        """``21:40`` today, else with the day: ``Thu 26 Nov 07:10``; the year when it is another.

        An hour that comes twice in a night has its zone beside it: ``01:30 WEST``, then ``01:30 WET``.
        ``now`` is the moment of reading; where nobody knows it, the hour alone. [UTC s]
        """
        if utc is None or not math.isfinite(utc):
            return UNKNOWN
        if now is None:
            return self._once(utc)
        then, today = self.local(utc), self.local(now)
        if then.date() == today.date():
            return self._once(utc)
        return f"{day(then.date(), today.date())} {self._once(utc)}"

    def _once(self, utc: float) -> str:
        """The hour, with its zone where clocks are set back over it: it is meant once."""
        then = self.local(utc)
        twice = then.replace(fold=1 - then.fold).utcoffset() != then.utcoffset()
        return f"{self.time(utc)} {then:%Z}" if twice else self.time(utc)

    def foreseen(self, utc: float | None, now: float | None, to_whole: Callable[[float], int] = round) -> str:
        """A moment that is computed, as finely as it is known: to 5 min, within half an hour to 1 min.

        ``to_whole`` is ``math.floor`` for a deadline: nobody is late by it.
        """
        if utc is None or not math.isfinite(utc):
            return "not foreseen"
        step = MINUTE if now is not None and utc - now < 30 * MINUTE else 5 * MINUTE
        return brief(self.moment(step * to_whole(utc / step), now))

    def span(self, begin: float, end: float, now: float) -> str:
        """``21:10 to 22:40``; the end with its day if that is another; ``21:10`` of one moment."""
        if begin == end:
            return self.moment(begin, now)
        return f"{self.moment(begin, now)} to {self.moment(end, begin)}"

    def left(self, due: float, now: float) -> str:
        """``42 min left``, rounded down so that nobody is late by it; ``12 min ago`` once it is past."""
        if due < now:
            return f"{duration(now - due)} ago"
        return f"{duration(60.0 * ((due - now) // 60.0))} left"

    def band(self, early: float | None, late: float | None, now: float) -> str:
        """``21:10-22:40``; the day once when both fall on it."""
        if early is None or late is None:
            return UNKNOWN
        same_day = self.local(early).date() == self.local(late).date()
        end = self._once(late) if same_day else self.moment(late, now)
        return f"{self.moment(early, now)}-{end}"


def kept(words: Wording, at: float, **said: Said) -> dict[str, Any]:
    """What was said, as plain values for the logbook, JSON and MQTT: text, words with open places, numbers.

    The text is for whoever has no program to word it: degC, grams and 24 hours at the shed, as it
    was at ``at``. :func:`curewatch.phrases.recalled` is the way back.
    """
    numbers: dict[str, Value] = {}
    for each in said.values():
        add(numbers, numbers_of(each))
    return {
        **{key: words.say(each, at) for key, each in said.items()},
        "words": {key: words_of(each) for key, each in said.items()},
        "numbers": numbers,
    }


def plain_wording(zone: tzinfo = UTC) -> Wording:
    """How texts are worded that are stored or published: degC, grams, 24 hours at the shed."""
    return Wording(zone)


WEEK = timedelta(days=7)  # so near a weekday can be meant once, also over the turn of the year


def day(then: date, today: date) -> str:
    """``Thu 26 Nov``; the year where it is another, and a week or more away.

    English names whatever the machine's locale, since the rest is English too.
    """
    names = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    year = "" if then.year == today.year or abs(then - today) < WEEK else f" {then.year}"
    return f"{names[then.weekday()]} {then.day} {months[then.month - 1]}{year}"


def brief(said: str) -> str:
    """``Thu 26 Nov 07:10`` as ``Thu 07:10``: the coming days need only their names."""
    return _DATE.sub(r"\1", said)


def in_ten(probability: float) -> str:
    """``8 in 10``, rounded down."""
    return f"{math.floor(10.0 * probability + 1e-9)} in 10"


def dosed(percent: object, *, assumed: object) -> str:
    """``2 % peroxide (assumed)``; empty without a dose. [% by mass of resin]"""
    if not isinstance(percent, int | float):
        return ""
    return f"{percent:.3g} % peroxide" + (" (assumed)" if assumed else "")


def counted(number: int, noun: str) -> str:
    """``1 layer``, ``3 layers``, ``3 entries``."""
    if number == 1:
        return f"1 {noun}"
    return f"{number:,} {noun.removesuffix('y')}ies" if noun.endswith("ry") else f"{number:,} {noun}s"


def roughly(seconds: float | None, to_whole: Callable[[float], int] = round) -> str:
    """A computed duration as finely as it is known: 5 min, 1 min below half an hour, 1 s below a minute."""
    if seconds is None:
        return UNKNOWN
    if 0.0 < seconds < MINUTE:  # never 0 s, which would be no time at all
        return duration(max(1, to_whole(seconds)))
    step = MINUTE if seconds < 30 * MINUTE else 5 * MINUTE
    return duration(step * to_whole(seconds / step))


def sure_window(opens: float | None, closes: float | None) -> bool:
    """Whether a window has a span as it is shown, to 5 min: an early end may precede its likely start. [s]"""
    return opens is None or closes is None or closes - opens >= 5 * MINUTE


def duration(seconds: float) -> str:
    """``42 s``, ``18 min``, ``1 h 05 min``, ``3 d 4 h``; a negative one with its sign."""
    if not math.isfinite(seconds):
        return UNKNOWN
    sign, rest = (MINUS if seconds <= -1 else ""), abs(seconds)
    if rest < 90:
        return f"{sign}{rest:.0f} s"
    minutes = round(rest / 60)
    if minutes < 60:
        return f"{sign}{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{sign}{hours} h {minutes:02d} min"
    return f"{sign}{hours // 24} d {hours % 24} h"


def units_from_text(text: str) -> list[str] | None:
    """The units in a list such as ``F,oz``; none where a word is not known, or two are against each other."""
    found = [part.strip().lower() for part in text.split(",") if part.strip()]
    good = set(found) <= UNITS and not any(pair <= set(found) for pair in EITHER)
    return found if good else None


def wording(
    zone: tzinfo,
    units: str | None = None,
    environment: Mapping[str, str] = os.environ,
    *,
    configured: str = "",
) -> Wording:
    """What ``--units`` says, the configuration where it says nothing, and the locale where neither does.

    Raises
    ------
    UsageError
        A word of ``units`` is not known, or is against another.
    """
    fahrenheit = _territory(environment, "LC_MEASUREMENT") in _FAHRENHEIT
    ounces, twelve = fahrenheit, _territory(environment, "LC_TIME") in _TWELVE_HOURS
    asked = units_from_text(units or "")
    if asked is None:
        raise UsageError(f"--units: found {units!r}. Use one of each pair: {UNITS_ALLOWED}")
    for word in (*(units_from_text(configured) or ()), *asked):
        match word:
            case "c" | "f":
                fahrenheit = word == "f"
            case "g" | "oz":
                ounces = word == "oz"
            case "24h" | "12h":
                twelve = word == "12h"
    return Wording(zone, fahrenheit, ounces, twelve)


def _territory(environment: Mapping[str, str], category: str) -> str:
    named = environment.get("LC_ALL") or environment.get(category) or environment.get("LANG") or ""
    return named.partition(".")[0].partition("_")[2].partition("@")[0]


def _signed(value: float) -> str:
    """One decimal, with the true minus sign; never minus zero."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", MINUS)


def _plain(value: float) -> str:
    return f"{float(f'{value:.3g}'):g}".replace("-", MINUS)


def _fahrenheit(celsius: float) -> float:
    return fahrenheit_from_kelvin(kelvin_from_celsius(celsius))


def _number(value: float | None) -> str:
    return UNKNOWN if value is None or not math.isfinite(value) else f"{value:.3g}"
