"""What simulated sensors say of a simulated shed: late, off by their class's error, and rounded.

One offset is drawn for each sensor and stays, as with a real chip; a little noise is drawn anew each time.
"""

from random import Random
from typing import NamedTuple

from msgspec import Struct

from curewatch.materials.sensor_part import load_sensor_part
from curewatch.physics.moist_air import relative_humidity
from curewatch.simulation.shed import InsideState
from curewatch.simulation.weather import Outside
from curewatch.units import ZERO_CELSIUS

NOISE_SHARE = 0.05  # of the class's typical error, anew at each report (assumed)


class SensorPlan(Struct, frozen=True):
    """One sensor of the simulated shed."""

    name: str
    place: str  # bench | hull | yard
    part: str = "humidity-2"


SALTMARSH = (
    SensorPlan("bench", "bench"),
    SensorPlan("hull", "hull", "probe"),
    SensorPlan("yard", "yard"),
)
SPARE = SensorPlan("spare", "bench")  # beside the one at the bench, for a comparison


class Said(NamedTuple):
    """What a sensor reports at one moment, in the units of the wire."""

    temperature_c: float
    humidity_percent: float | None


class SimulatedSensor:
    """A sensor with its own lasting error."""

    def __init__(self, plan: SensorPlan, random: Random) -> None:
        self.plan = plan
        part = load_sensor_part(plan.part)
        self._random = random
        self._temperature_noise = part.temperature_sd * NOISE_SHARE
        self._offset = random.gauss(0.0, part.temperature_sd / 2.0)
        self._humidity_sd = part.relative_humidity_sd
        self._humidity_offset = random.gauss(0.0, (part.relative_humidity_sd or 0.0) / 2.0)

    def report(self, inside: InsideState, weather: Outside) -> Said:
        """What it says now."""
        temperature, vapour = _at(self.plan.place, inside, weather)
        said = temperature + self._offset + self._random.gauss(0.0, self._temperature_noise)
        if self._humidity_sd is None:
            return Said(round(said - ZERO_CELSIUS, 2), None)
        wet = float(relative_humidity(temperature, vapour)) + self._humidity_offset
        wet += self._random.gauss(0.0, self._humidity_sd * NOISE_SHARE)
        return Said(round(said - ZERO_CELSIUS, 2), round(100.0 * min(1.0, max(0.01, wet)), 2))


def _at(place: str, inside: InsideState, weather: Outside) -> tuple[float, float]:
    if place == "yard":
        return weather.temperature, weather.vapour_pressure
    if place == "hull":
        return inside.hull_temperature, inside.vapour_pressure
    return inside.air_temperature, inside.vapour_pressure
