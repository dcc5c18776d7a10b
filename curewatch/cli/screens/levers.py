"""The levers in words: what to do, when, how much it takes, and what comes with it."""

from collections.abc import Callable, Iterator

from curewatch.advice.judge.answer import Lever
from curewatch.wording import Wording, duration


def lines(levers: tuple[Lever, ...], wording: Wording, start: float) -> Iterator[str]:
    """The cautions of their steps, each once; then one numbered sentence a lever, the least effort first."""
    yield from dict.fromkeys(wording.say(each.warning) for each in levers if each.warning)
    for number, lever in enumerate(levers, start=1):
        yield f"{number}. {sentence(lever, wording, start)}"


def sentence(lever: Lever, wording: Wording, start: float) -> str:
    """The lever, when to begin with it, and how often it then holds."""
    parts = [_what(lever, wording, start)]
    if lever.besides is not None:
        parts.append(f"and {_what(lever.besides, wording, start)}")
    if lever.kind != "start" and abs(lever.start - start) > 60:
        parts.append(f"begin at {wording.moment(lever.start, start)}")
    if lever.probability is not None:
        parts.append(f"holds on {100 * lever.probability:.0f} % of paths")
    return "; ".join(parts)


def _what(lever: Lever, wording: Wording, start: float) -> str:
    say: dict[str, Callable[[Lever, Wording, float], str]] = {
        "start": _start,
        "warm": _warm,
        "dry": _dry,
        "surface": _surface,
        "resin": lambda lever, *_: f"use {lever.resin} instead",
        "batch": lambda lever, wording, _: f"mix at most {wording.mass(lever.target)} at a time",
        "tray": lambda lever, wording, _: (
            f"pour the {wording.mass(lever.target)} into a shallow tray at once"
        ),
    }
    return say[lever.kind](lever, wording, start)


def _start(lever: Lever, wording: Wording, start: float) -> str:
    way = "later" if lever.start > start else "earlier"
    return f"start {way}, at {wording.moment(lever.start, start)} ({duration(abs(lever.start - start))})"


def _warm(lever: Lever, wording: Wording, start: float) -> str:
    takes = f"up to {(lever.power or 0.0) / 1000:.1f} kW, {(lever.energy or 0.0) / 3.6e6:.0f} kWh"
    until = _until(lever, wording, start)
    return (
        f"warm the shed to {wording.temperature(lever.target)}, electric or flued, from now{until}: {takes}"
    )


def _dry(lever: Lever, wording: Wording, start: float) -> str:
    takes = "" if lever.water is None else f": {lever.water:.1f} kg of water out"
    return f"dry the air to {wording.percent(lever.target)}, from now{_until(lever, wording, start)}{takes}"


def _surface(lever: Lever, wording: Wording, start: float) -> str:
    rise = wording.difference(lever.target)
    power = f", up to {lever.area_power:.0f} W/m² of blanket" if lever.area_power else ""
    return (
        f"warm the surface by {rise}, from now{_until(lever, wording, start)}{power}: "
        "a heated blanket with a thermostat, never a lamp over wet resin; never warm the mixed pot"
    )


def _until(lever: Lever, wording: Wording, start: float) -> str:
    return "" if lever.until is None else f" until {wording.moment(lever.until, start)}"
