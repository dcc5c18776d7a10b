"""The document of `air`: what humid air means for a surface."""

from typing import TYPE_CHECKING, Annotated

import msgspec
from msgspec import UNSET, UnsetType

from curewatch.answers.document import Shape, says
from curewatch.units import celsius_from_kelvin

if TYPE_CHECKING:
    from curewatch.materials.sensor_part import SensorPart


class AirDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch air`."""

    temperature_c: Annotated[float, says("Air")]
    humidity_percent: Annotated[float, says("Relative humidity over liquid water")]
    dew_point_c: Annotated[float, says("Dew point")]
    frost_point_c: Annotated[float | None, says("Frost point, below 0 °C")]
    vapour_pressure_pa: Annotated[float, says("Vapour pressure")]
    water_g_per_m3: Annotated[float, says("Water in the air")]
    source: Annotated[str, says("Of the equations")]
    surface_temperature_c: Annotated[float, says("With --surface")] | UnsetType = UNSET
    condensation_margin_k: Annotated[float, says("Surface above dew point")] | UnsetType = UNSET
    surface_humidity_percent: Annotated[float, says("Humidity at the surface")] | UnsetType = UNSET
    part: Annotated[str, says("With --part: class of sensor")] | UnsetType = UNSET
    dew_point_sd_k: Annotated[float, says("Standard deviation")] | UnsetType = UNSET
    condensation_margin_sd_k: Annotated[float, says("Standard deviation")] | UnsetType = UNSET


def air_document(
    temperature: float,
    relative_humidity: float,
    surface: float | None = None,
    part: "SensorPart | None" = None,
) -> AirDocument:
    """Of air [K, 1], over a surface [K], with the error of this class of part; a probe is of the same class.

    Raises
    ------
    ValueError
        The part measures no humidity.
    """
    from curewatch.model.air.surface import margin_sd, vapour_pressure_sd
    from curewatch.physics import moist_air

    pressure = float(moist_air.vapour_pressure(temperature, relative_humidity))
    dew_point = float(moist_air.dew_point(pressure))
    frosty = dew_point < moist_air.ICE_POINT
    found = AirDocument(
        temperature_c=_celsius(temperature),
        humidity_percent=round(relative_humidity * 100, 3),
        dew_point_c=_celsius(dew_point),
        frost_point_c=_celsius(float(moist_air.frost_point(pressure))) if frosty else None,
        vapour_pressure_pa=round(pressure, 3),
        water_g_per_m3=round(float(moist_air.vapour_density(temperature, pressure)) * 1000, 3),
        source=moist_air.SOURCE,
    )
    if surface is not None:
        found = msgspec.structs.replace(
            found,
            surface_temperature_c=_celsius(surface),
            condensation_margin_k=round(surface - dew_point, 3),
            surface_humidity_percent=round(float(moist_air.relative_humidity(surface, pressure)) * 100, 3),
        )
    if part is None:
        return found
    if part.relative_humidity_sd is None:
        raise ValueError(f"{part.name} measures no humidity")
    pressure_sd = vapour_pressure_sd(
        temperature, relative_humidity, part.temperature_sd, part.relative_humidity_sd
    )
    found = msgspec.structs.replace(
        found, part=part.name, dew_point_sd_k=round(float(margin_sd(pressure, pressure_sd, 0.0)), 3)
    )
    if surface is None:
        return found
    margin = round(float(margin_sd(pressure, pressure_sd, part.temperature_sd)), 3)
    return msgspec.structs.replace(found, condensation_margin_sd_k=margin)


def _celsius(kelvin: float) -> float:
    return round(celsius_from_kelvin(kelvin), 3)
