"""``curewatch tonight``: go, no-go or unknown for a start now or later, and why."""

from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings


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
    from curewatch.answers.tonight import tonight_document
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import tonight
    from curewatch.cli.typed import batch_mass_from_text, moment_from_text
    from curewatch.clock import SystemClock
    from curewatch.wording import plain_wording

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    start = moment_from_text(at, configuration.zone, now, ahead=True)
    with looking(configuration, now) as look:
        asked = look.asked(
            resin=resin,
            batch_mass=None if mass is None else batch_mass_from_text(mass),
            peroxide_percent=peroxide,
        )
        said = look.advise(asked, start)
    answer = tonight_document(said, plain_wording(wording.zone))
    if as_json:
        terminal.print_json(answer)
    else:
        shown = tonight.lines(answer, wording, configuration.shed.name)
        terminal.print_lines(shown, plain=plain, colour=tonight.COLOUR[answer.verdict])
    raise typer.Exit(int(said.verdict.exit_status))
