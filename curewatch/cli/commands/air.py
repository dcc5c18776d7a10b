"""``curewatch air``: what humid air of this temperature and humidity means for a surface."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from curewatch.cli.options import JsonOption, PlainOption, UnitsOption, reader
from curewatch.errors import UsageError

if TYPE_CHECKING:
    from curewatch.wording import Wording

LOWEST, HIGHEST = 233.15, 333.15  # K: air a person works in, and then some
MARGIN = 3.0  # K, ISO 8502-4 practice, quoted second-hand

# A number below zero is not an option: "air -5 90" must work.
app = typer.Typer(context_settings={"ignore_unknown_options": True})


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

    said = describe(temperature, humidity, surface, part)
    if as_json:
        terminal.print_json(as_plain(said))
    else:
        terminal.print_lines(lines(said, reader(units)), plain=plain)


def describe(
    temperature: str, humidity: str, surface: str | None = None, part: str | None = None
) -> dict[str, Any]:
    """Everything the command says, in SI, from what was typed.

    Raises
    ------
    UsageError
        A temperature or humidity that air in a shed does not have; says what may have been meant.
    ConfigurationError
        A class of sensor that is not known.
    """
    kelvin = _temperature(temperature, "air temperature")
    fraction = _humidity(humidity)

    from curewatch.physics import moist_air

    pressure = float(moist_air.vapour_pressure(kelvin, fraction))
    dew_point = float(moist_air.dew_point(pressure))
    frosty = dew_point < moist_air.ICE_POINT
    said: dict[str, Any] = {
        "temperature": kelvin,
        "relative_humidity": fraction,
        "dew_point": dew_point,
        "frost_point": float(moist_air.frost_point(pressure)) if frosty else None,
        "vapour_pressure": pressure,
        "vapour_density": float(moist_air.vapour_density(kelvin, pressure)),
        "source": moist_air.SOURCE,
    }
    if surface is not None:
        below = _temperature(surface, "surface temperature")
        said["surface_temperature"] = below
        said["condensation_margin"] = below - dew_point
        said["surface_humidity"] = float(moist_air.relative_humidity(below, pressure))
    if part is not None:
        said |= _errors(said, part)
    return said


def _errors(said: dict[str, Any], name: str) -> dict[str, Any]:
    """One standard deviation of dew point and margin for this class of part, its probe the same class."""
    from curewatch.materials.sensor_part import load_sensor_part
    from curewatch.model.air.surface import margin_sd, vapour_pressure_sd

    part = load_sensor_part(name)
    if part.relative_humidity_sd is None:
        raise UsageError(f"{name} measures no humidity; give the class of the humidity chip")
    pressure = said["vapour_pressure"]
    pressure_sd = vapour_pressure_sd(
        said["temperature"], said["relative_humidity"], part.temperature_sd, part.relative_humidity_sd
    )
    errors = {"part": name, "dew_point_sd": float(margin_sd(pressure, pressure_sd, 0.0))}
    if "condensation_margin" in said:
        errors["condensation_margin_sd"] = float(margin_sd(pressure, pressure_sd, part.temperature_sd))
    return errors


def as_plain(said: dict[str, Any]) -> dict[str, Any]:
    """The same for ``--json``: the unit is in the name."""
    from curewatch.units import celsius_from_kelvin

    names = {
        "temperature": "temperature_c",
        "dew_point": "dew_point_c",
        "frost_point": "frost_point_c",
        "surface_temperature": "surface_temperature_c",
    }
    scaled = {
        "relative_humidity": ("humidity_percent", 100.0),
        "surface_humidity": ("surface_humidity_percent", 100.0),
        "vapour_pressure": ("vapour_pressure_pa", 1.0),
        "vapour_density": ("water_g_per_m3", 1000.0),
        "condensation_margin": ("condensation_margin_k", 1.0),
        "condensation_margin_sd": ("condensation_margin_sd_k", 1.0),
        "dew_point_sd": ("dew_point_sd_k", 1.0),
    }
    plain: dict[str, Any] = {}
    for key, value in said.items():
        if key in names:
            plain[names[key]] = None if value is None else round(celsius_from_kelvin(value), 3)
        elif key in scaled:
            name, factor = scaled[key]
            plain[name] = round(value * factor, 3)
        else:
            plain[key] = value
    return plain


def lines(said: dict[str, Any], wording: "Wording") -> list[str]:
    """The same for a person: the dew point first."""
    error = f" ± {wording.difference(said['dew_point_sd'])}" if "dew_point_sd" in said else ""
    found = [f"dew point         {wording.temperature(said['dew_point'])}{error}  (over liquid water)"]
    if said["frost_point"] is not None:
        found.append(f"frost point       {wording.temperature(said['frost_point'])}  (over ice)")
    found.append(f"vapour pressure   {said['vapour_pressure'] / 100:.2f} hPa")
    found.append(f"water in the air  {said['vapour_density'] * 1000:.2f} g/m³")
    if "condensation_margin" in said:
        margin = wording.difference(said["condensation_margin"])
        error = (
            f" ± {wording.difference(said['condensation_margin_sd'])}"
            if "condensation_margin_sd" in said
            else ""
        )
        found.append(f"surface margin    {margin}{error} above the dew point: {_wetness(said, wording)}")
        found.append(f"at the surface    {wording.percent(said['surface_humidity'])} relative humidity")
    given = f"{wording.temperature(said['temperature'])}, {wording.percent(said['relative_humidity'])}"
    found.append(f"of air at         {given}")
    if "part" in said:
        found.append(f"±                 one standard deviation of a {said['part']} part, and of its probe")
    return found


def _wetness(said: dict[str, Any], wording: "Wording") -> str:
    margin, asked = said["condensation_margin"], wording.difference(MARGIN)
    if margin <= 0:
        return "water condenses on it"
    if margin < MARGIN:
        return f"too little, {asked} is asked (ISO 8502-4 practice)"
    return f"enough, {asked} is asked (ISO 8502-4 practice)"


def _temperature(text: str, name: str) -> float:
    from curewatch.cli.typed import both_scales, temperature_from_text
    from curewatch.units import celsius_from_kelvin, kelvin_from_fahrenheit

    kelvin = temperature_from_text(text, name)
    if LOWEST <= kelvin <= HIGHEST:
        return kelvin
    hint = ""
    meant = kelvin_from_fahrenheit(celsius_from_kelvin(kelvin))
    if kelvin > HIGHEST and meant <= HIGHEST:
        hint = f"; if that was Fahrenheit, write {text.strip()}F ({celsius_from_kelvin(meant):.1f} °C)"
    raise UsageError(f"{name} {text.strip()!r}; allowed: {both_scales(-40, 60)}{hint}")


def _humidity(text: str) -> float:
    try:
        percent = float(text.strip().rstrip("%").replace(",", "."))
    except ValueError:
        raise UsageError(f"relative humidity {text!r} is not a number; write 80 or 80%") from None
    if 1.0 <= percent <= 100.0:
        return percent / 100.0
    hint = f"; if that was a fraction, write {100 * percent:g}" if 0.0 < percent < 1.0 else ""
    raise UsageError(f"relative humidity is {percent:g} %; allowed: 1 to 100 %{hint}")
