"""``curewatch resin list | show | compare``: what there is, where its numbers come from, side by side."""

from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from curewatch.cli.options import (
    ConfigOption,
    JsonOption,
    PlainOption,
    UnitsOption,
    WhyOption,
    common_settings,
    settings,
)

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.materials import Resin
    from curewatch.model.film.milestones import Milestones
    from curewatch.model.fit.score import Deviation
    from curewatch.wording import Wording

app = typer.Typer(add_completion=False)
SHOWN_AT = (298.15, 293.15, 283.15)  # K
SHOWN_FOR = 7 * 86400.0  # s


class ComparedAir(NamedTuple):
    """What the resins are compared in."""

    temperature: float  # [K]
    relative_humidity: float  # [1]
    work: float  # temperature of what is laminated [K]
    carbon_dioxide: float  # mole fraction [1]
    source: str  # where these come from, for people


@app.command("list")
def list_resins(
    *, config: ConfigOption = None, plain: PlainOption = False, as_json: JsonOption = False
) -> None:
    """The resin systems there are: built in, and in your own folder.

    Example: curewatch resin list
    """
    from curewatch.answers.resin_list import resin_list_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import resin as screen
    from curewatch.materials import load_resin, resin_names

    configuration, _ = common_settings(config)
    folder = configuration.resin.folder
    resins = [load_resin(name, folder) for name in resin_names(folder)]
    answer = resin_list_document(resins)
    if as_json:
        terminal.print_json(answer)
    else:
        terminal.print_lines(screen.listed(answer), plain=plain)


@app.command()
def show(
    name: Annotated[str, typer.Argument(metavar="NAME|FILE", help="A resin system or its file.")],
    *,
    lot: Annotated[
        str | None,
        typer.Option("--lot", metavar="LOT", help="As this lot has shown itself.", show_default=False),
    ] = None,
    toml: Annotated[bool, typer.Option("--toml", help="That lot as a file of its own, to keep.")] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """One resin system: what it does as a film, and every number with its origin.

    With --lot as `curewatch observe` has made it; with --toml that lot is printed as a resin file.

    Example: curewatch resin show epoxy-slow
    """
    from curewatch.answers.resin_show import resin_show_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import resin as screen
    from curewatch.materials import load_resin

    configuration, wording = settings(config, units)
    resin = load_resin(name, configuration.resin.folder)
    if lot is not None:
        resin = _of_lot(configuration, resin, lot)
    if toml and lot is not None:
        typer.echo(_as_file(resin, name, lot), nl=False)
        return
    films = [(kelvin, _film(resin, kelvin)) for kelvin in SHOWN_AT]
    answer = resin_show_document(resin, films, _pulls(configuration, resin))
    if as_json:
        terminal.print_json(answer)
    else:
        terminal.print_lines(screen.shown(answer, wording), plain=plain)


@app.command()
def compare(
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="[NAME|FILE]...", help="Which resins; else all.", show_default=False),
    ] = None,
    *,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="C", help="Of the shed; else as measured.", show_default=False),
    ] = None,
    humidity: Annotated[
        float | None,
        typer.Option("--humidity", metavar="PERCENT", help="Relative, of its air.", show_default=False),
    ] = None,
    surface: Annotated[
        str | None,
        typer.Option("--surface", metavar="C", help="Of the work, if another.", show_default=False),
    ] = None,
    why: WhyOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """All resin systems side by side, for a shed temperature and humidity or for the shed as it is now.

    Exit status 4 if the shed is to be taken as measured and nothing fresh is known of it.

    Example: curewatch resin compare --temperature 12 --humidity 80
    """
    from curewatch.advice.judge.comparison import compare as side_by_side
    from curewatch.answers.resin_compare import resin_compare_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import resin as screen
    from curewatch.materials import load_resin, resin_names

    configuration, wording = settings(config, units)
    folder = configuration.resin.folder
    air, relative, work, carbon_dioxide, source = _conditions(
        configuration, wording, temperature, humidity, surface
    )
    resins = [load_resin(name, folder) for name in (names or resin_names(folder))]
    rows = side_by_side(resins, air, relative, surface_temperature=work, carbon_dioxide=carbon_dioxide)
    answer = resin_compare_document(rows, air=air, relative_humidity=relative, work=work, source=source)
    if as_json:
        terminal.print_json(answer)
    else:
        terminal.print_lines(screen.compared(answer, wording, why=why), plain=plain)


def _pulls(configuration: "Configuration", resin: "Resin") -> "tuple[Deviation, ...]":
    """What was seen of its layers here, against what was told."""
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.shed import learnt

    path = logbook_path(configuration)
    if not path.exists():
        return ()
    with open_logbook(path, read_only=True) as logbook:
        return learnt.pulls(logbook, resin.name)


def _of_lot(configuration: "Configuration", resin: "Resin", lot: str) -> "Resin":
    """The resin as the logbook's observations of this lot have made it."""
    from curewatch.configuration import logbook_path
    from curewatch.errors import UsageError
    from curewatch.logbook import open_logbook
    from curewatch.safe_text import safe_line
    from curewatch.shed import learnt

    path, found = logbook_path(configuration), resin
    if path.exists():
        with open_logbook(path, read_only=True) as logbook:
            found = learnt.resin_of_lot(logbook, resin, lot)
    if found is resin:
        said = f"nothing was learnt of lot {safe_line(lot)!r} of {resin.name}"
        raise UsageError(f"{said}; `curewatch observe` teaches it, `layer --lot` names it")
    return found


def _as_file(resin: "Resin", base: str, lot: str) -> str:
    """The learnt lot as the text of a resin file that names what it came from."""
    import re
    from pathlib import Path

    from msgspec.structs import replace

    from curewatch.materials.resin_writer import as_toml

    slug = re.sub(r"[^a-z0-9]+", "-", lot.lower()).strip("-")[:16] or "lot"
    parent = str(Path(base).resolve()) if base.endswith(".toml") else base
    named = replace(
        resin,
        name=f"{resin.name[:22].rstrip('-')}-{slug}",
        title=f"{resin.title}, lot {lot}",
        note=f"learned of lot {lot} by `curewatch observe`; {resin.note}",
    )
    keys = [
        key for key, origin in resin.origins.items() if origin.tag == "learned" and "uncertainty" not in key
    ]
    heading = f"{resin.name}, lot {lot}, version {resin.version} (from {resin.parent}).\n"
    return as_toml(
        named, parent, keys, heading + "What was seen made these numbers; all else is the parent's."
    )


def _film(resin: "Resin", kelvin: float) -> "Milestones":
    from curewatch.model.film.film import constant, cure
    from curewatch.model.film.milestones import milestones

    return milestones(resin, cure(resin, constant(kelvin, SHOWN_FOR)))


def _conditions(
    configuration: "Configuration",
    wording: "Wording",
    temperature: str | None,
    humidity: float | None,
    surface: str | None,
) -> ComparedAir:
    """As given, or as measured where nothing is given."""
    from curewatch.cli.typed import SHED, temperature_from_text
    from curewatch.errors import UsageError
    from curewatch.units import fraction_from_percent

    if temperature is None and humidity is None and surface is None:
        return _measured(configuration, wording)
    if temperature is None or humidity is None:
        raise UsageError("give both --temperature and --humidity, or neither for the shed as it is now")
    if not 1.0 <= humidity <= 100.0:
        hint = f"; if that was a fraction, give {100 * humidity:g}" if 0.0 < humidity < 1.0 else ""
        raise UsageError(f"--humidity: found {humidity:g}. Use 1 to 100 %{hint}")
    air = temperature_from_text(temperature, words=wording, within=SHED)
    work = air if surface is None else temperature_from_text(surface, "--surface", wording, SHED)
    gas = configuration.shed.carbon_dioxide_ppm * 1e-6
    return ComparedAir(air, fraction_from_percent(humidity), work, gas, "as given")


def _measured(configuration: "Configuration", words: "Wording") -> ComparedAir:
    """The shed as its sensors say; what cannot be trusted ends in exit status 4, not in a guess."""
    from curewatch.advice.judge import data_quality
    from curewatch.cli import terminal
    from curewatch.clock import SystemClock
    from curewatch.errors import ExitStatus
    from curewatch.shed.look import looking

    now = SystemClock().now().utc
    with looking(configuration, now) as look:
        doubts, seen = data_quality.troubles(look.situation, look.question.limits), look.surfaced
    air = None if seen is None else seen.air
    if doubts or seen is None or air is None or air.temperature is None or air.relative_humidity is None:
        told = "; ".join(f"{doubt.sensor or 'clock'}: {words.say(doubt.reason, now)}" for doubt in doubts)
        terminal.note(f"unknown: {told}; see to it, or give --temperature and --humidity")
        raise typer.Exit(int(ExitStatus.UNKNOWN))
    work = seen.surface.temperature or air.temperature
    source = "as measured" + ("; work estimated from the air" if seen.surface.estimated else "")
    return ComparedAir(air.temperature, air.relative_humidity, work, seen.carbon_dioxide, source)
