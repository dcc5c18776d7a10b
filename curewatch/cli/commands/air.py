"""``curewatch air``: what humid air of this temperature and humidity means for a surface."""

from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import JsonOption, PlainOption, UnitsOption, reader
from curewatch.errors import ConfigurationError, UsageError

if TYPE_CHECKING:
    from curewatch.answers.air import AirDocument
    from curewatch.wording import Wording

LOWEST, HIGHEST = 233.15, 333.15  # K: air a person works in, and then some
ANY = (-(10**9), 10**9)  # degC: the range of air is said here, with its hint

# A number below zero is not an option: "air -5 90" must work.
app = typer.Typer(add_completion=False, context_settings={"ignore_unknown_options": True})


@app.command()
def air(
    temperature: Annotated[str, typer.Argument(metavar="T", help="Air temperature: 12, 12C or 54F.")],
    humidity: Annotated[str, typer.Argument(metavar="RH", help="Relative humidity, per cent.")],
    *,
    surface: Annotated[
        str | None,
        typer.Option("--surface", metavar="T", help="Surface temperature.", show_default=False),
    ] = None,
    part: Annotated[
        str | None,
        typer.Option("--part", metavar="NAME", help="Class of sensor: its error too.", show_default=False),
    ] = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Dew point, frost point and vapour pressure of air; with --surface, how far it is from getting wet.

    Example: curewatch air 12 82 --surface 9.5
    """
    from curewatch.cli import terminal

    words = reader(units)
    said = describe(temperature, humidity, surface, part, words)
    if as_json:
        terminal.print_json(said)
        return
    from curewatch.cli.screens.air import lines

    terminal.print_lines(lines(said, words), plain=plain)


def describe(
    temperature: str,
    humidity: str,
    surface: str | None = None,
    part: str | None = None,
    words: "Wording | None" = None,
) -> "AirDocument":
    """Everything the command says, from what was typed.

    Raises
    ------
    UsageError
        A temperature or humidity that air in a shed does not have; says what may have been meant. A class
        of sensor that is not known, or has no humidity.
    """
    kelvin = _temperature(temperature, "air temperature", words)
    fraction = _humidity(humidity)
    below = None if surface is None else _temperature(surface, "surface temperature", words)

    from curewatch.answers.air import air_document
    from curewatch.materials.sensor_part import load_sensor_part

    try:
        found = None if part is None else load_sensor_part(part)
    except ConfigurationError as trouble:
        raise UsageError(f"--part: found {trouble.found}. Use {trouble.allowed}") from None
    if found is not None and found.relative_humidity_sd is None:
        raise UsageError(f"{part} measures no humidity; give the class of the humidity chip")
    return air_document(kelvin, fraction, below, found)


def _temperature(text: str, name: str, words: "Wording | None") -> float:
    from curewatch.cli.typed import both_scales, temperature_from_text
    from curewatch.units import celsius_from_kelvin, kelvin_from_fahrenheit

    kelvin = temperature_from_text(text, name, words, within=ANY)
    if LOWEST <= round(kelvin, 6) <= HIGHEST:  # -40 °C and -40 °F are allowed, as is said
        return kelvin
    hint = ""
    meant = kelvin_from_fahrenheit(celsius_from_kelvin(kelvin))
    if kelvin > HIGHEST and meant <= HIGHEST:
        hint = f"; if that was Fahrenheit, write {text.strip()}F ({celsius_from_kelvin(meant):.1f} °C)"
    raise UsageError(f"{name}: found {text.strip()!r}. Use {both_scales(-40, 60)}{hint}")


def _humidity(text: str) -> float:
    try:
        percent = float(text.strip().rstrip("%").replace(",", "."))
    except ValueError:
        raise UsageError(f"relative humidity: found {text!r}. Use 80 or 80%") from None
    if 1.0 <= percent <= 100.0:
        return percent / 100.0
    hint = f"; if that was a fraction, write {100 * percent:g}" if 0.0 < percent < 1.0 else ""
    raise UsageError(f"relative humidity: found {percent:g} %. Use 1 to 100 %{hint}")
