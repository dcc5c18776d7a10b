"""The levers in words: what to do, when, how much it takes, and what comes with it."""

from collections.abc import Callable, Iterator, Sequence

from curewatch.answers.document import moment
from curewatch.answers.tonight import LeverDocument
from curewatch.wording import Wording, duration


def lines(levers: Sequence[LeverDocument], wording: Wording, start: float) -> Iterator[str]:
    """The cautions of their steps, each once; then one numbered sentence a lever, the least effort first."""
    yield from dict.fromkeys(wording.say(each.warning) for each in levers if each.warning)
    for number, lever in enumerate(levers, start=1):
        yield f"{number}. {sentence(lever, wording, start)}"


def sentence(lever: LeverDocument, wording: Wording, start: float) -> str:
    """The lever, when to begin with it, and how often it then holds."""
    parts = [_what(lever, wording, start)]
    if lever.besides is not None:
        parts.append(f"and {_what(lever.besides, wording, start)}")
    begin = moment(lever.start)
    if lever.kind != "start" and begin is not None and abs(begin - start) > 60:
        parts.append(f"begin at {wording.moment(begin, start)}")
    if lever.probability is not None:
        parts.append(f"holds on {100 * lever.probability:.0f} % of paths")
    return "; ".join(parts)


def _what(lever: LeverDocument, wording: Wording, start: float) -> str:
    say: dict[str, Callable[[LeverDocument, Wording, float], str]] = {
        "start": _start,
        "warm": _warm,
        "dry": _dry,
        "surface": _surface,
        "resin": lambda lever, *_: f"use {lever.resin} instead",
        "batch": lambda lever, wording, _: f"mix at most {wording.stated(lever.batch_mass_g, 'g')} at a time",
        "tray": lambda lever, wording, _: (
            f"pour the {wording.stated(lever.batch_mass_g, 'g')} into a shallow tray at once"
        ),
    }
    return say[lever.kind](lever, wording, start)


def _start(lever: LeverDocument, wording: Wording, start: float) -> str:
    begin = moment(lever.start) or start
    way = "later" if begin > start else "earlier"
    return f"start {way}, at {wording.moment(begin, start)} ({duration(abs(begin - start))})"


def _warm(lever: LeverDocument, wording: Wording, start: float) -> str:
    takes = f"up to {(lever.power_w or 0) / 1000:.1f} kW, {lever.energy_kwh or 0.0:.0f} kWh"
    until = _until(lever, wording, start)
    to = wording.stated(lever.temperature_c, "degC")
    return f"warm the shed to {to}, electric or flued, from now{until}: {takes}"


def _dry(lever: LeverDocument, wording: Wording, start: float) -> str:
    takes = "" if lever.water_kg is None else f": {lever.water_kg:.1f} kg of water out"
    to = wording.stated(lever.humidity_percent, "percent")
    return f"dry the air to {to}, from now{_until(lever, wording, start)}{takes}"


def _surface(lever: LeverDocument, wording: Wording, start: float) -> str:
    rise = wording.stated(lever.surface_rise_k, "K")
    power = f", up to {lever.power_w_per_m2} W/m² of blanket" if lever.power_w_per_m2 else ""
    return (
        f"warm the surface by {rise}, from now{_until(lever, wording, start)}{power}: "
        "a heated blanket with a thermostat, never a lamp over wet resin; never warm the mixed pot"
    )


def _until(lever: LeverDocument, wording: Wording, start: float) -> str:
    return "" if lever.switch_off is None else f" until {wording.moment(moment(lever.switch_off), start)}"
