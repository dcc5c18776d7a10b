"""The document of `air`."""

from typing import Annotated

from msgspec import UNSET, UnsetType

from curewatch.answers.document import Shape, says


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
