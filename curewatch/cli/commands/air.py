"""``curewatch air``: what humid air of this temperature and humidity means for a surface."""

import json
from typing import Any

import typer

from curewatch.errors import UsageError
from curewatch.units import (
    celsius_from_kelvin,
    fraction_from_percent,
    gram_from_kilogram,
    kelvin_from_celsius,
    kelvin_from_fahrenheit,
    percent_from_fraction,
)

# A number below zero is not an option: "air -5 90" must work.
app = typer.Typer(
    add_completion=False, rich_markup_mode=None, context_settings={"ignore_unknown_options": True}
)


@app.command()
def air(
    temperature_c: float = typer.Argument(..., metavar="T", help="Air temperature, degC."),
    humidity_percent: float = typer.Argument(..., metavar="RH", help="Relative humidity, per cent."),
    surface_c: float | None = typer.Option(None, "--surface", help="Surface temperature, degC."),
    as_json: bool = typer.Option(False, "--json", help="The same as JSON."),
) -> None:
    """Dew point, frost point and vapour pressure of air; with --surface, how far it is from getting wet.

    Example: curewatch air 12 82 --surface 9.5
    """
    said = describe(temperature_c, humidity_percent, surface_c)
    if as_json:
        typer.echo(json.dumps(said, indent=2))
        return
    for line in lines(said):
        typer.echo(line)


def describe(temperature_c: float, humidity_percent: float, surface_c: float | None) -> dict[str, Any]:
    """Everything the command says, by name with its unit."""
    _check_temperature("air temperature", temperature_c)
    _check_humidity(humidity_percent)
    if surface_c is not None:
        _check_temperature("surface temperature", surface_c)

    from curewatch.physics import moist_air

    air_temperature = kelvin_from_celsius(temperature_c)
    pressure = moist_air.vapour_pressure(air_temperature, fraction_from_percent(humidity_percent))
    dew_point = float(moist_air.dew_point(pressure))
    frosty = dew_point < moist_air.ICE_POINT
    said: dict[str, Any] = {
        "temperature_c": temperature_c,
        "humidity_percent": humidity_percent,
        "dew_point_c": round(celsius_from_kelvin(dew_point), 3),
        "frost_point_c": round(celsius_from_kelvin(float(moist_air.frost_point(pressure))), 3)
        if frosty
        else None,
        "vapour_pressure_pa": round(float(pressure), 2),
        "water_g_per_m3": round(
            gram_from_kilogram(float(moist_air.vapour_density(air_temperature, pressure))), 3
        ),
        "source": moist_air.SOURCE,
    }
    if surface_c is not None:
        surface = kelvin_from_celsius(surface_c)
        said["surface_temperature_c"] = surface_c
        said["condensation_margin_k"] = round(surface - dew_point, 3)
        said["surface_humidity_percent"] = round(
            percent_from_fraction(float(moist_air.relative_humidity(surface, pressure))), 2
        )
    return said


def lines(said: dict[str, Any]) -> list[str]:
    """The same for a person: the dew point first."""
    found = [f"dew point        {said['dew_point_c']:6.1f} degC  (over liquid water)"]
    if said["frost_point_c"] is not None:
        found.append(f"frost point      {said['frost_point_c']:6.1f} degC  (over ice)")
    found.append(f"vapour pressure  {said['vapour_pressure_pa'] / 100:6.2f} hPa")
    found.append(f"water in the air {said['water_g_per_m3']:6.2f} g/m3")
    if "condensation_margin_k" in said:
        margin = said["condensation_margin_k"]
        found.append(f"surface          {margin:+6.1f} K from the dew point, {_wetness(margin)}")
        found.append(f"at the surface   {said['surface_humidity_percent']:6.1f} % relative humidity")
    return found


def _wetness(margin: float) -> str:
    if margin <= 0:
        return "water condenses on it"
    if margin < 3.0:
        return "below the 3.0 K that coating practice (ISO 8502-4) asks for"
    return "above the 3.0 K that coating practice (ISO 8502-4) asks for"


def _check_temperature(name: str, temperature_c: float) -> None:
    if -40.0 <= temperature_c <= 60.0:
        return
    hint = ""
    if 60.0 < temperature_c <= 140.0:
        converted = celsius_from_kelvin(kelvin_from_fahrenheit(temperature_c))
        hint = f"; if that was Fahrenheit, give {converted:.1f}"
    raise UsageError(f"{name} is {temperature_c:g} degC; allowed: -40 to 60 degC{hint}")


def _check_humidity(humidity_percent: float) -> None:
    if 1.0 <= humidity_percent <= 100.0:
        return
    hint = ""
    if 0.0 < humidity_percent < 1.0:
        hint = f"; if that was a fraction, give {100 * humidity_percent:g}"
    raise UsageError(f"relative humidity is {humidity_percent:g} %; allowed: 1 to 100 %{hint}")
