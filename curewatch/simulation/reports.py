"""The stream of a simulated shed: one report of each sensor at each interval, as bytes of our line form.

The same plan gives the same bytes, always. Nothing here waits: whoever plays the stream does.
"""

from collections.abc import Iterator
from itertools import islice
from random import Random
from typing import NamedTuple

from msgspec import Struct, field

from curewatch.physics.moist_air import vapour_pressure
from curewatch.physics.saturated_salts import relative_humidity
from curewatch.simulation import faults
from curewatch.simulation.faults import CLOCKS, LATE_KEEPS, Fault, FaultKind, FaultMoment, damage, distort
from curewatch.simulation.sensors import SALTMARSH, Said, SensorPlan, SimulatedSensor
from curewatch.simulation.shed import InsideState, Walls, settled, step
from curewatch.simulation.weather import Outside, WeatherPlan, outside
from curewatch.units import DAY, MINUTE, ZERO_CELSIUS
from curewatch.wire import lines

JAR = ZERO_CELSIUS + 19.0  # of the jar: in the house, where nothing moves [K]
SETTLING = DAY / 2  # the shed has lived this long under its weather before the first report [s]


class SimulationPlan(Struct, frozen=True):
    """A whole simulation, but for its length."""

    start: float  # UTC [s]
    seed: int = 1
    interval: float = MINUTE  # between two reports of one sensor [s]
    weather: WeatherPlan = field(default_factory=WeatherPlan)
    walls: Walls = field(default_factory=Walls)
    sensors: tuple[SensorPlan, ...] = SALTMARSH
    stamped: bool = True  # the boards know the time; else their lines carry none
    faults: tuple[Fault, ...] = ()
    jar: str | None = None  # the bench's sensor lies in a closed jar over this wet salt, for a check


class Report(NamedTuple):
    """One report: what a board prints, without its line end."""

    at: float  # UTC, when it was measured [s]
    sensor: str
    line: bytes  # empty while the port is unplugged
    said: Said  # before any fault of the cable
    faults: tuple[FaultKind, ...] = ()


def shed(plan: SimulationPlan) -> Iterator[tuple[InsideState, Outside]]:
    """The shed and its weather at the start and at every interval after, without end."""
    warming = int(SETTLING // plan.interval)
    since = plan.start % DAY - warming * plan.interval
    random = Random(plan.seed)  # noqa: S311 - a simulation that must repeat
    inside: InsideState | None = None
    for index, moment in enumerate(outside(plan.weather, since, plan.interval, random)):
        known = inside or settled(plan.walls, moment)
        inside = step(plan.walls, known, moment, plan.interval)
        if index >= warming:
            yield inside, moment


def reports(plan: SimulationPlan, count: int) -> Iterator[Report]:
    """``count`` reports of every sensor, in order of time; fewer where a sensor is silent."""
    random = Random(f"sensors {plan.seed}")  # noqa: S311
    sensors = [SimulatedSensor(each, random) for each in plan.sensors]
    before: dict[str, Said] = {}
    for index, (inside, weather) in enumerate(islice(shed(plan), count)):
        said = {sensor.plan.name: sensor.report(_around(plan, sensor, inside), weather) for sensor in sensors}
        for name in said:
            kinds = _kinds(plan, name, index * plan.interval)
            report = _report(plan, name, _by_plug(plan, name, said, index), index, before)
            if FaultKind.UNPLUG in kinds:
                yield report._replace(line=b"")
            elif _comes(kinds, index):
                yield report._replace(line=_through(kinds, report.line, random))


def _around(plan: SimulationPlan, sensor: SimulatedSensor, inside: InsideState) -> InsideState:
    """The air that a sensor hangs in: the shed's, or that of the jar, which has stood for a day."""
    if plan.jar is None or sensor.plan.name != "bench":
        return inside
    held = vapour_pressure(JAR, relative_humidity(plan.jar, JAR))
    return inside._replace(air_temperature=JAR, vapour_pressure=float(held))


def _comes(kinds: tuple[FaultKind, ...], index: int) -> bool:
    return FaultKind.SILENT not in kinds and (FaultKind.LATE not in kinds or index % LATE_KEEPS == 0)


def _by_plug(plan: SimulationPlan, name: str, said: dict[str, Said], index: int) -> Said:
    """What comes over a sensor's cable: its own word, or that of the one it was exchanged with."""
    for fault in plan.faults:
        one = fault.sensor or "bench"
        pair = (one, faults.exchanged_with(one))
        if fault.kind is FaultKind.EXCHANGED and fault.touches(one, index * plan.interval) and name in pair:
            return said[pair[1 - pair.index(name)]]
    return said[name]


def _kinds(plan: SimulationPlan, sensor: str, elapsed: float) -> tuple[FaultKind, ...]:
    return tuple(fault.kind for fault in plan.faults if fault.touches(sensor, elapsed))


def _through(kinds: tuple[FaultKind, ...], line: bytes, random: Random) -> bytes:
    for kind in kinds:
        line = damage(kind, line, random)
    return line


def _report(plan: SimulationPlan, name: str, said: Said, index: int, before: dict[str, Said]) -> Report:
    """What the sensor's board prints; ``before`` remembers the report that a stuck sensor repeats."""
    elapsed = index * plan.interval
    kinds = _kinds(plan, name, elapsed)
    for fault in plan.faults:
        if fault.touches(name, elapsed):
            said = distort(fault.kind, said, FaultMoment(index, elapsed - fault.start, before.get(name)))
    if FaultKind.STUCK not in kinds:
        before[name] = said
    at = plan.start + elapsed
    line = lines.encode(
        name,
        said.temperature_c,
        said.humidity_percent,
        sequence=index,
        at=faults.stamp(kinds, at, elapsed) if plan.stamped or {*CLOCKS} & {*kinds} else None,
    )
    if FaultKind.FAILED in kinds:
        body = f"cw1 {name} t=nan n={index}".encode("ascii")
        line = b"%s *%04X" % (body, lines.checksum(body))
    return Report(at, name, line, said, kinds)
