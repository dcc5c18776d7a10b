"""Air as lines of text: the dew point first, then how far a surface is from getting wet."""

from msgspec import UNSET, UnsetType

from curewatch.answers.air import AirDocument
from curewatch.units import kelvin_from_celsius
from curewatch.wording import Wording

MARGIN = 3.0  # K, ISO 8502-4 practice, quoted second-hand


def lines(air: AirDocument, words: Wording) -> list[str]:
    """What air of this temperature and humidity is, and does on the surface."""
    dew_point = f"{_temperature(air.dew_point_c, words)}{_error(air.dew_point_sd_k, words)}"
    found = [f"dew point         {dew_point}  (over liquid water)"]
    if air.frost_point_c is not None:
        found.append(f"frost point       {_temperature(air.frost_point_c, words)}  (over ice)")
    found.append(f"vapour pressure   {air.vapour_pressure_pa / 100:.2f} hPa")
    found.append(f"water in the air  {air.water_g_per_m3:.2f} g/m³")
    if air.condensation_margin_k is not UNSET:
        margin = words.difference(air.condensation_margin_k) + _error(air.condensation_margin_sd_k, words)
        wetness = _wetness(air.condensation_margin_k, words)
        found.append(f"surface margin    {margin} above the dew point: {wetness}")
    if air.surface_humidity_percent is not UNSET:
        humidity = words.percent(air.surface_humidity_percent / 100)
        found.append(f"at the surface    {humidity} relative humidity")
    given = f"{_temperature(air.temperature_c, words)}, {words.percent(air.humidity_percent / 100)}"
    found.append(f"of air at         {given}")
    if air.part is not UNSET:
        found.append(f"±                 one standard deviation of a {air.part} part, and of its probe")
    return found


def _temperature(celsius: float, words: Wording) -> str:
    return words.temperature(kelvin_from_celsius(celsius))


def _error(kelvin: float | UnsetType, words: Wording) -> str:
    return "" if kelvin is UNSET else f" ± {words.difference(kelvin)}"


def _wetness(margin: float, words: Wording) -> str:
    asked = words.difference(MARGIN)
    if margin <= 0:
        return "water condenses on it"
    if margin < MARGIN:
        return f"too little, {asked} is asked (ISO 8502-4 practice)"
    return f"enough, {asked} is asked (ISO 8502-4 practice)"
