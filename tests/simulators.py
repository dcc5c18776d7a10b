"""Simulators for tests: things that behave, instead of mocks that answer.

``ManualClock`` moves when told. ``SimulatedShed`` gives the lines of a shed with weather and faults, always
the same for the same seed. ``SimulatedPort`` is a serial port that a board would be on: open ``port.url``,
``port.write(bytes)``, ``port.unplug()``, ``port.plug()``.
"""

from collections.abc import Iterator

from curewatch.clock import Instant, ManualClock
from curewatch.readings import Reading
from curewatch.simulation.faults import parse_fault
from curewatch.simulation.port import SimulatedPort
from curewatch.simulation.reports import Report, SimulationPlan, reports
from curewatch.simulation.sensors import SALTMARSH, SPARE
from curewatch.wire import lines

__all__ = ["ManualClock", "SimulatedPort", "SimulatedShed"]

START = 1_790_000_000.0  # UTC [s]: 2026-09-21T13:33:20Z


class SimulatedShed:
    """A shed with bench, hull and yard; faults are typed as for ``curewatch simulate``."""

    def __init__(
        self,
        *faults: str,
        start: float = START,
        seed: int = 1,
        interval: float = 60.0,
        stamped: bool = True,
        spare: bool = False,
        jar: str | None = None,
    ) -> None:
        self.plan = SimulationPlan(
            start=start,
            seed=seed,
            interval=interval,
            stamped=stamped,
            sensors=(*SALTMARSH, SPARE) if spare else SALTMARSH,
            jar=jar,
            faults=tuple(parse_fault(fault) for fault in faults),
        )

    def reports(self, count: int) -> Iterator[Report]:
        """``count`` reports of each sensor, in order of time."""
        return reports(self.plan, count)

    def lines(self, count: int) -> list[bytes]:
        """The same as the lines that boards print, each with its end."""
        return [report.line + b"\n" for report in self.reports(count) if report.line]

    def readings(self, count: int) -> list[Reading]:
        """The same as readings; only for sheds whose faults leave whole lines."""
        return [
            reading
            for report in self.reports(count)
            if isinstance(reading := lines.parse(report.line, report_instant(report)), Reading)
        ]


def report_instant(report: Report) -> Instant:
    """The moment a report reaches the edge when nothing delays it."""
    return Instant(report.at, report.at)
