"""``curewatch tonight``: go, no-go or unknown for a start now or later, and why."""

from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings

if TYPE_CHECKING:
    from curewatch.advice.judge.situation import Situation
    from curewatch.configuration import Configuration


def app(
    *,
    at: Annotated[
        str, typer.Option("--at", metavar="TIME", help="Start: 21:40, or a date and time.")
    ] = "now",
    resin: Annotated[
        str | None,
        typer.Option("--resin", metavar="NAME", help="A resin system or its file.", show_default=False),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option("--mass", metavar="MASS", help="Mixed in one pot, e.g. 150 g.", show_default=False),
    ] = None,
    peroxide: Annotated[
        float | None,
        typer.Option("--peroxide", metavar="PERCENT", help="Polyester: of resin mass.", show_default=False),
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Go, no-go or unknown for a start now or later: the answer, the reasons, the times.

    Exit status 0 go, 3 no-go, 4 unknown.

    Example: curewatch tonight --resin epoxy-fast --mass "200 g"
    """
    from curewatch.advice.remedy.levers import advise
    from curewatch.answers.tonight import tonight_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import tonight
    from curewatch.cli.typed import batch_mass_from_text, moment_from_text
    from curewatch.clock import SystemClock
    from curewatch.shed.consult import means, of_shed
    from curewatch.wording import plain_wording

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    start = moment_from_text(at, configuration.zone, now, ahead=True)
    asked = of_shed(
        configuration,
        resin=resin,
        batch_mass=None if mass is None else batch_mass_from_text(mass),
        peroxide_percent=peroxide,
    )
    situation = known(configuration, now)
    said = advise(asked, situation, lambda: means(configuration, asked, situation), start)
    answer = tonight_document(said, plain_wording(wording.zone))
    if as_json:
        terminal.print_json(answer)
    else:
        shown = tonight.lines(answer, wording, configuration.shed.name)
        terminal.print_lines(shown, plain=plain, colour=tonight.COLOUR[answer.verdict])
    raise typer.Exit(int(said.verdict.exit_status))


def known(configuration: "Configuration", now: float) -> "Situation":
    """What the logbook knows now; without a logbook, nothing, which is not an error but an unknown."""
    from curewatch.advice.judge.situation import Situation
    from curewatch.cli.terminal import note
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.shed.present import situation

    path = logbook_path(configuration)
    if not path.exists():
        if configuration.file is None:
            note("nothing is set up yet: `curewatch setup` finds your sensors, `curewatch demo` shows how")
        return Situation(now)
    with open_logbook(path, read_only=True) as logbook:
        return situation(logbook, configuration, now)
