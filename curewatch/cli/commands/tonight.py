"""``curewatch tonight``: go, no-go or unknown for a start now or later, and why."""

from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import (
    ConfigOption,
    FaceOption,
    JsonOption,
    LayersOption,
    MoistureOption,
    PlainOption,
    UnitsOption,
    WhyOption,
    settings,
)

if TYPE_CHECKING:
    from curewatch.phrases import Said


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
    layers: LayersOption = 1,
    on: FaceOption = None,
    moisture: MoistureOption = None,
    why: WhyOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Go, no-go or unknown for a start now or later, in ten lines: the reason, what to do, the times.

    Exit status 0 go, 3 no-go, 4 unknown.

    Example: curewatch tonight --resin epoxy-fast --mass "200 g"
    """
    from curewatch.answers.tonight import tonight_document
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import tonight
    from curewatch.cli.typed import (
        batch_mass_from_text,
        face_from_text,
        moisture_from_text,
        moment_from_text,
    )
    from curewatch.clock import SystemClock
    from curewatch.wording import plain_wording

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    start = moment_from_text(at, configuration.zone, now, ahead=True)
    with looking(configuration, now) as look:
        asked = look.asked(
            resin=resin,
            batch_mass=None if mass is None else batch_mass_from_text(mass, words=wording),
            peroxide_percent=peroxide,
            layers=layers,
            face=face_from_text(on),
            moisture=moisture_from_text(moisture),
        )
        said, pulls = look.advise(asked, start), look.pulls(asked)
        short: Said = ""
        if configuration.stock:  # who counts no tins loads nothing of them
            from curewatch.worklog.stock import short_for_batch

            short = short_for_batch(look.logbook, configuration, asked)
    answer = tonight_document(said, plain_wording(wording.zone), pulls, short)
    if as_json:
        terminal.print_json(answer)
    else:
        shown = tonight.lines(answer, wording, configuration.shed.name, why=why)
        terminal.print_lines(shown, plain=plain, colour=tonight.COLOUR[answer.verdict])
    raise typer.Exit(int(said.verdict.exit_status))
