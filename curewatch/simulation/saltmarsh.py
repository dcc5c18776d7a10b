"""The invented evening at Saltmarsh Shed that the demonstration replays. Every number is invented.

A mild, cloudy October afternoon: the shed stands at 16 degC and is dry enough. Towards six a damp air mass
comes up the creek and the sky clears: the shed cools, the air at the hull grows damper, and from about
eight the hull is too near the dew point.
"""

from curewatch.clock import utc_from_iso
from curewatch.simulation.reports import SimulationPlan
from curewatch.simulation.shed import Walls
from curewatch.simulation.weather import WeatherPlan
from curewatch.units import HOUR, ZERO_CELSIUS

START = utc_from_iso("2026-10-17T14:30:00Z")
HOURS = 8.0
SEED = 7

HEADER = """Saltmarsh Shed: an evening. INVENTED for the demonstration; no such shed, boat or weather.
Made by: curewatch simulate --evening --file saltmarsh-evening.txt
Sensors: bench (air at the work), hull (probe taped to the surface), yard (outside, in the shade).
Form: the line form of firmware_notes/LINE_FORM.md; at = UTC seconds since 1970."""


def evening() -> SimulationPlan:
    """The plan of the evening."""
    return SimulationPlan(
        start=START,
        seed=SEED,
        weather=WeatherPlan(
            mean=ZERO_CELSIUS + 9.6,
            swing=5.0,
            dew_point=ZERO_CELSIUS + 6.0,
            damp_dew_point=ZERO_CELSIUS + 9.0,
            damp_from=17.75 * HOUR,
            damp_within=1.5 * HOUR,
        ),
        walls=Walls(
            air_lag=1.2 * HOUR,
            hull_lag=0.9 * HOUR,
            air_change_lag=0.7 * HOUR,
            sun_gain=2.2,
            roof_loss=1.3,
        ),
    )
