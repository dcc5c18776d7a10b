"""``curewatch layer``: "I started a layer"; then it is in the logbook and counts down."""

from typing import Annotated, Any

import typer

from curewatch.advice.answer import plain_moment
from curewatch.cli.gathering import running_layers
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.board import Running
from curewatch.cli.terminal import print_json
from curewatch.cli.typed import mass_from_text, moment_from_text, span_from_text
from curewatch.cli.wording import Wording, duration
from curewatch.clock import SystemClock, iso_utc
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import UsageError
from curewatch.ingest import layups
from curewatch.jobs import Layup, layup_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import DoseOutOfRange, ResinSystem, load_system

LONG_AGO = 7 * 86400.0  # s; a start before that is a slip of the finger


def app(
    *,
    resin: Annotated[
        str | None, typer.Option("--resin", metavar="NAME", help="Resin system, if not the configured one.")
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option("--batch", "--mass", metavar="MASS", help="Mixed in one pot: 150 g, 5 oz."),
    ] = None,
    peroxide: Annotated[
        float | None, typer.Option("--peroxide", metavar="PERCENT", help="Polyester: peroxide by mass.")
    ] = None,
    ago: Annotated[
        str | None, typer.Option("--ago", metavar="SPAN", help="Mixed so long ago: 20 min.")
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="Mixed at this time: 21:40, the shed's time.")
    ] = None,
    lot: Annotated[str | None, typer.Option("--lot", help="The resin's lot, if another.")] = None,
    job: Annotated[str | None, typer.Option("--job", help="The job it belongs to.")] = None,
    note: Annotated[str, typer.Option("--note", help="A few words, kept with it.")] = "",
    running: Annotated[bool, typer.Option("--running", help="Only show what is running.")] = False,
    close: Annotated[
        str | None, typer.Option("--close", metavar="NAME", help="It is done with: L1 counts down no more.")
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Say that you started a layer (now, or some time ago); it goes into the logbook and counts down.

    The clock starts when resin and hardener are mixed. Works beside a running daemon.

    Example: curewatch layer --resin epoxy-slow --batch "150 g" --ago "20 min"
    """
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    path = logbook_path(configuration)
    if running and not path.exists():
        _show((), words, now, json=json)
        return
    with Logbook(path, read_only=running) as logbook:
        if close:
            _close(logbook, close, note, now)
        elif not running:
            started = _started(ago, at, words, now)
            said = {"resin": resin, "mass": mass, "peroxide": peroxide, "lot": lot, "job": job, "note": note}
            _begin(logbook, _layup(configuration, logbook, started, now, said), now)
        _show(running_layers(logbook, configuration, now), words, now, json=json)


def _started(ago: str | None, at: str | None, words: Wording, now: float) -> float:
    """When it was mixed: now, or as told.

    Raises
    ------
    UsageError
        Told twice, or told to be ahead of now or long past.
    """
    if ago and at:
        raise UsageError("--ago and --at say the same thing; give one of them")
    if ago:
        started = now - span_from_text(ago)
    elif at:
        started = min(now, moment_from_text(at, words.zone, now, ahead=False))
    else:
        return now
    if not now - LONG_AGO <= started:
        raise UsageError(f"the layer would have begun {words.moment(started, now)}; allowed: the last 7 days")
    return started


def _layup(
    configuration: Configuration, logbook: Logbook, started: float, now: float, said: dict[str, Any]
) -> Layup:
    """The layup as told, with the configuration's resin, lot and batch where nothing was said."""
    usual = configuration.resin
    system = load_system(said["resin"] or usual.system, usual.folder)
    mass = mass_from_text(said["mass"]) if said["mass"] else usual.batch_g and usual.batch_g / 1000
    same_resin = said["resin"] in {None, usual.system}
    usual_dose = usual.peroxide_percent if same_resin else None
    return Layup(
        layup=layups.next_name(logbook),
        started=started,
        system=said["resin"] or usual.system,
        batch_mass=mass,
        thickness=usual.film_mm / 1000,
        peroxide_percent=_peroxide(said["peroxide"] or usual_dose, system),
        job=said["job"],
        lot=said["lot"] or (usual.lot if same_resin else None),
        note=said["note"],
        given_afterwards=started < now,
    )


def _peroxide(given: float | None, system: ResinSystem) -> float | None:
    """The dose, checked against the system's own range; the normal one where nothing is said."""
    dose = system.dose
    if dose is None:
        if given is not None:
            raise UsageError(f"--peroxide is for polyester and vinyl ester; {system.name} is {system.kind}")
        return None
    if given is None:
        return dose.peroxide_normal
    if not dose.peroxide_low <= given <= dose.peroxide_high:
        raise DoseOutOfRange("peroxide", given, (dose.peroxide_low, dose.peroxide_high), system.name)
    return given


def _begin(logbook: Logbook, layup: Layup, now: float) -> None:
    logbook.write(Entry("layup", layup_as_plain(layup), layup.started, job=layup.job, recorded=now))


def _close(logbook: Logbook, name: str, note: str, now: float) -> None:
    open_ones = {layup.layup: layup for layup in layups.running(logbook, now)}
    layup = open_ones.get(name.upper())
    if layup is None:
        there = f"running: {', '.join(open_ones)}" if open_ones else "none is running"
        raise UsageError(f"no running layer {name!r}; {there}")
    payload = {"layup": layup.layup, "at": now} | ({"text": note} if note else {})
    logbook.write(Entry("layup closed", payload, now, job=layup.job))


def _show(running: tuple[Running, ...], words: Wording, now: float, *, json: bool) -> None:
    if json:
        print_json({"running": [as_plain(each) for each in running]})
        return
    for line in lines(running, words, now):
        typer.echo(line)


def as_plain(running: Running) -> dict[str, Any]:
    """A running layer for ``--json``."""
    layup = running.layup
    return {
        "layup": layup.layup,
        "started": iso_utc(layup.started),
        "resin": layup.system,
        "batch_g": None if layup.batch_mass is None else round(layup.batch_mass * 1000, 1),
        "peroxide_percent": layup.peroxide_percent,
        "lot": layup.lot,
        "job": layup.job,
        "note": layup.note,
        "given_afterwards": layup.given_afterwards,
        "stage": running.said,
        "timeline": [plain_moment(moment) for moment in running.moments],
    }


def lines(running: tuple[Running, ...], words: Wording, now: float) -> list[str]:
    """What is running: one line a layer, then what will become of it and when."""
    said = []
    for each in running:
        said.append(safe_line(f"{_told(each.layup, words, now)}: {each.said}"))
        for moment in each.moments:
            when = words.moment(moment.likely, now) if moment.likely else "not in the coming hours"
            band = f" ({words.band(moment.early, moment.late, now)})" if moment.early and moment.late else ""
            note = f"  {safe_line(moment.note)}" if moment.note else ""
            said.append(f"    {safe_line(moment.title):<26} {when}{band}{note}")
    return said or ["no layer is running"]


def _told(layup: Layup, words: Wording, now: float) -> str:
    parts = [layup.layup, layup.system]
    if layup.batch_mass is not None:
        parts.append(words.mass(layup.batch_mass))
    if layup.peroxide_percent is not None:
        parts.append(f"{layup.peroxide_percent:g} % peroxide")
    afterwards = " (told afterwards)" if layup.given_afterwards else ""
    since = f"mixed {words.moment(layup.started, now)}, {duration(now - layup.started)} ago{afterwards}"
    return ", ".join([*parts, since, *filter(None, [layup.note])])
