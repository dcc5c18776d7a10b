"""``curewatch simulate``: a shed that is not there, on a port, a broker or in a file."""

import signal
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec.structs import replace

from curewatch.cli.terminal import note
from curewatch.clock import SystemClock, iso_utc, utc_from_iso
from curewatch.errors import UsageError

if TYPE_CHECKING:
    from curewatch.clock import Clock
    from curewatch.simulation.faults import Fault
    from curewatch.simulation.outputs import Output
    from curewatch.simulation.reports import SimulationPlan

app = typer.Typer(add_completion=False)

LONGEST_HOURS = 24.0 * 366
DEFAULT_HOURS = 8.0


@app.command()
def simulate(
    *,
    port: Annotated[bool, typer.Option("--port", help="On a pseudo-terminal (the default).")] = False,
    link: Annotated[
        Path | None, typer.Option("--link", metavar="PATH", help="A lasting name for that port.")
    ] = None,
    broker: Annotated[
        str | None, typer.Option("--broker", metavar="HOST[:PORT]", help="On an MQTT broker, e.g. 127.0.0.1.")
    ] = None,
    topic: Annotated[str, typer.Option(help="The topic of each sensor.")] = "curewatch/{sensor}/reading",
    form: Annotated[
        str | None,
        typer.Option(
            "--format",
            metavar="FORM",
            help="On a broker: line, senml (if not given), json or numbers.",
            show_default=False,
        ),
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", metavar="PATH", help="Into a file; - for standard output.")
    ] = None,
    evening: Annotated[bool, typer.Option("--evening", help="The evening of the demonstration.")] = False,
    start: Annotated[
        str | None, typer.Option(metavar="TIME", help="When it begins, ISO 8601 (UTC where it has no zone).")
    ] = None,
    hours: Annotated[float | None, typer.Option(help="How long it lasts in the shed's time.")] = None,
    count: Annotated[int | None, typer.Option(help="Or how many reports each sensor makes.")] = None,
    every: Annotated[float, typer.Option(metavar="SECONDS", help="Between reports of a sensor.")] = 60.0,
    speed: Annotated[
        float | None, typer.Option(help="Times faster than life; 0: as fast as it goes.", show_default=False)
    ] = None,
    seed: Annotated[int, typer.Option(help="The same seed gives the same bytes.")] = 1,
    unstamped: Annotated[bool, typer.Option("--unstamped", help="Boards without a clock.")] = False,
    spare: Annotated[bool, typer.Option("--spare", help="A second sensor beside the bench's.")] = False,
    jar: Annotated[
        str | None,
        typer.Option("--jar", metavar="SALT", help="The bench's sensor lies in a jar over this salt."),
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="FAULT", help="KIND[:SENSOR]@FROM[+FOR]; repeatable."),
    ] = None,
) -> None:
    """A simulated shed: weather, walls, sensors with noise, and faults on demand.

    It stops by itself: after --hours or --count. Faults are typed like silent:bench@2h+30m or cut@10m.
    KIND: silent, late, unplug, stuck, jump, jumping, drift, aged, saturated, swapped, exchanged, fahrenheit,
    failed, noise, cut, clock-1970, clock-back, clock-ahead.

    Example: curewatch simulate --evening --count 3 --file -
    """
    if sum((port or link is not None, broker is not None, file is not None)) > 1:
        raise UsageError("found two places to write to. Use one of --port, --broker and --file")
    if broker is None and form not in {None, "line"}:
        where = "a file" if file is not None else "a serial port"
        raise UsageError(f"--format: found {form!r} for {where}. Use --broker HOST, or --format line")
    from curewatch.shed.salt_check import known_salt
    from curewatch.simulation.sensors import SPARE

    live = file is None
    plan, reports = _length(evening, every, hours, count)
    speed = (1.0 if live else 0.0) if speed is None else speed
    if not 0 <= speed <= 1e6:
        raise UsageError(f"speed: found {speed:g}. Use 0 to 1000000")
    clock = SystemClock()
    plan = replace(plan, start=_start(start, plan, clock, reports, speed, live=live, evening=evening))
    plan = replace(plan, seed=plan.seed if evening else seed, stamped=not unstamped, faults=_faults(fault))
    plan = replace(plan, sensors=(*plan.sensors, SPARE)) if spare else plan
    names = [each.name for each in plan.sensors]
    strange = next((each.sensor for each in plan.faults if each.sensor not in (None, *names)), None)
    if strange is not None:
        raise UsageError(f"--fault: found sensor {strange!r}. Use {', '.join(names)}")
    plan = replace(plan, jar=None if jar is None else known_salt(jar))
    with ExitStack() as stack:
        if broker is not None:
            output = _broker(broker, topic, form or "senml")
        else:
            output = _port(link) if file is None else _file(stack, file, evening=evening)
        _play(plan, reports, stack.enter_context(output), speed, clock)


def _length(
    evening: bool, every: float, hours: float | None, count: int | None
) -> "tuple[SimulationPlan, int]":
    """The plan before its start is known, and the number of reports of each sensor."""
    from curewatch.simulation import saltmarsh
    from curewatch.simulation.reports import SimulationPlan

    if not 0.1 <= every <= 3600:
        raise UsageError(f"--every: found {every:g} s. Use 0.1 to 3600 s")
    if hours is not None and count is not None:
        raise UsageError("found --hours and --count. Use one of them")
    plan = saltmarsh.evening() if evening else SimulationPlan(start=0.0)
    plan = replace(plan, interval=every)
    wanted = hours if hours is not None else saltmarsh.HOURS if evening else DEFAULT_HOURS
    reports = count if count is not None else wanted * 3600 / every + 1
    if not 1 <= reports <= LONGEST_HOURS * 3600 / every:  # nor is nan
        raise UsageError(
            f"found {reports:,.0f} reports to make. Use 1 to a year's, by --hours, --count or --every"
        )
    return plan, int(reports)


def _start(
    start: str | None,
    plan: "SimulationPlan",
    clock: "Clock",
    reports: int,
    speed: float,
    *,
    live: bool,
    evening: bool,
) -> float:
    """When the shed's time begins: as asked; else so that no stamp lies in a listener's future."""
    if start is not None:
        try:
            return utc_from_iso(start)
        except ValueError as trouble:
            raise UsageError(f"start: found {start!r}. Use ISO 8601, e.g. 2026-10-17T14:30:00Z") from trouble
    if not live:
        from curewatch.simulation import saltmarsh

        return saltmarsh.START
    now = clock.now().utc
    return now if speed == 1.0 else now - (reports - 1) * plan.interval


def _faults(texts: list[str] | None) -> "tuple[Fault, ...]":
    from curewatch.simulation.faults import parse_fault

    return tuple(parse_fault(text) for text in texts or ())


def _broker(address: str, topic: str, form: str) -> "Output":
    from curewatch.simulation.outputs import BrokerOutput

    host, _, number = address.partition(":")
    if not host or (number and not (number.isascii() and number.isdecimal())):
        raise UsageError(f"broker: found {address!r}. Use HOST or HOST:PORT")
    return BrokerOutput(host, int(number or 1883), topic, form)


def _file(stack: ExitStack, path: Path, *, evening: bool) -> "Output":
    from curewatch.simulation import outputs, saltmarsh

    header = saltmarsh.HEADER if evening else "A simulated shed; every number is invented."
    if str(path) == "-":
        return outputs.FileOutput(sys.stdout.buffer, header)
    output, stream = outputs.file_output(path, header)
    stack.enter_context(stream)
    return output


def _port(link: Path | None) -> "Output":
    from curewatch.simulation.outputs import PortOutput
    from curewatch.simulation.port import SimulatedPort

    if link is not None and link.exists() and not link.is_symlink():
        raise UsageError(f"--link: found your file or folder {str(link)!r}. Use a name that is free")
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # so that the link is taken away at the end
    try:
        simulated = SimulatedPort(link)
    except OSError as trouble:
        raise UsageError(f"--link {str(link)!r} cannot be made: {trouble.strerror}") from trouble
    note(f"simulated port: {simulated.url}")
    return PortOutput(simulated)


def _play(plan: "SimulationPlan", count: int, output: "Output", speed: float, clock: "Clock") -> None:
    """Send each report when its time has come."""
    from curewatch.simulation.reports import reports

    begun, sent = clock.now().monotonic, 0
    for report in reports(plan, count):
        if speed > 0:
            due = begun + (report.at - plan.start) / speed
            clock.sleep(max(0.0, due - clock.now().monotonic))
        output.send(report)
        sent += 1
    note(f"{sent} reports sent, the last for {iso_utc(plan.start + (count - 1) * plan.interval)}")
