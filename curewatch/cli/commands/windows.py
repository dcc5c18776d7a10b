"""``curewatch windows``: when in the coming days a layer may be laid, for one or several resins."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import (
    ConfigOption,
    JsonOption,
    LayersOption,
    PlainOption,
    UnitsOption,
    WhyOption,
    settings,
)
from curewatch.errors import ExitStatus, OutOfValidity, UsageError

if TYPE_CHECKING:
    from curewatch.advice.plan.windows import Strip
    from curewatch.wording import Wording

STATUS = {"go": ExitStatus.OK, "no-go": ExitStatus.NO_GO, "unknown": ExitStatus.UNKNOWN}


def app(
    *,
    resin: Annotated[
        list[str] | None,
        typer.Option(
            "--resin", metavar="NAME", help="A resin system; may be given several times.", show_default=False
        ),
    ] = None,
    calendar: Annotated[
        Path | None,
        typer.Option(
            "--calendar",
            metavar="FILE",
            help="Write a window and its countdowns as iCalendar.",
            show_default=False,
        ),
    ] = None,
    window: Annotated[
        int, typer.Option("--window", metavar="N", min=1, help="Which window goes into it.")
    ] = 1,
    chart: Annotated[
        Path | None,
        typer.Option(
            "--chart", metavar="FILE", help="Also draw the coming 48 hours, as .svg.", show_default=False
        ),
    ] = None,
    why: WhyOption = False,
    layers: LayersOption = 1,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Every start of the coming 48 hours: go or not, what limits it, and the next layer.

    Exit status 0 if there is a window, 3 if there is none, 4 if it is unknown.

    Example: curewatch windows --resin epoxy-slow --resin epoxy-fast
    """
    from curewatch.advice.plan.windows import LENGTH, strip
    from curewatch.answers.windows import unseen_windows, windows_document
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import windows as screen
    from curewatch.clock import SystemClock
    from curewatch.shed.consult import working_spans
    from curewatch.wording import plain_wording

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    with looking(configuration, now, length=LENGTH) as look:
        names: list[str | None] = [*resin] if resin else [None]
        asked = [look.asked(resin=name, layers=layers) for name in names]
        foreseen, doubts = look.foreseen(asked[0]), look.doubts(asked[0])
    strips: tuple[Strip, ...] = ()
    if foreseen is not None:
        working = working_spans(configuration, now, now + LENGTH)
        try:
            strips = tuple(strip(one, *foreseen, working) for one in asked)
        except OutOfValidity as trouble:
            doubts = (str(trouble),)
    if foreseen is None or not strips:
        answer = unseen_windows(asked, doubts, now, plain_wording(wording.zone))
    else:
        answer = windows_document(strips, now, foreseen[1].basis)
    if as_json:
        terminal.print_json(answer)
    else:
        shown = screen.lines(answer, wording, terminal.columns(), why=why)
        terminal.print_lines(shown, plain=plain, colour=screen.COLOUR[answer.verdict])
    if calendar is not None and strips:
        _write_calendar(calendar, strips, window, wording, now)
    if chart is not None and strips and foreseen is not None:
        from curewatch.cli.coming_chart import draw

        draw(strips, foreseen[1], asked[0].limits, chart, wording)
    raise typer.Exit(int(STATUS[answer.verdict]))


def _write_calendar(
    file: Path, strips: "tuple[Strip, ...]", number: int, wording: "Wording", now: float
) -> None:
    from curewatch.advice.plan.calendar import write
    from curewatch.advice.plan.windows import appointments, in_order
    from curewatch.cli.terminal import note

    found = in_order(strips)
    if number > len(found):
        raise UsageError(f"--window {number}: there are {len(found)} windows; nothing was written to {file}")
    text = write(appointments(*found[number - 1], say=wording.time), now)
    file.write_bytes(text.encode("utf-8"))
    note(f"window {number} written to {file}")
