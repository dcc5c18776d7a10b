"""``curewatch windows``: when in the coming days a layup would hold, for one or several resins."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.errors import ExitStatus, OutOfValidity, UsageError

if TYPE_CHECKING:
    from curewatch.advice.plan.windows import Strip
    from curewatch.wording import Wording


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
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Every start of the coming 48 hours: go or not, what limits it, and the next layer.

    Exit status 0 if there is a window, 3 if there is none, 4 if it is unknown.

    Example: curewatch windows --resin epoxy-slow --resin epoxy-fast
    """
    from curewatch.advice.plan.windows import LENGTH, as_plain, strip
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import windows as screen
    from curewatch.clock import SystemClock
    from curewatch.shed.consult import working_spans

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    with looking(configuration, now, length=LENGTH) as look:
        asked = [look.asked(resin=name) for name in resin] if resin else [look.question]
        foreseen, doubts = look.foreseen(asked[0]), look.doubts(asked[0])
    if foreseen is None:
        _say_unknown(doubts, as_json=as_json, plain=plain)
        raise typer.Exit(int(ExitStatus.UNKNOWN))
    seen, outlook = foreseen
    working = working_spans(configuration, now, now + LENGTH)
    try:
        strips = tuple(strip(one, seen, outlook, working) for one in asked)
    except OutOfValidity as trouble:
        _say_unknown((str(trouble),), as_json=as_json, plain=plain)
        raise typer.Exit(int(ExitStatus.UNKNOWN)) from None
    if as_json:
        terminal.print_json(as_plain(strips, now, outlook.basis))
    else:
        colour = "green" if any(one.windows for one in strips) else "red"
        shown = screen.lines(strips, wording, now, outlook.basis, terminal.columns())
        terminal.print_lines(shown, plain=plain, colour=colour)
    if calendar is not None:
        _write_calendar(calendar, strips, window, wording, now)
    raise typer.Exit(int(ExitStatus.OK if any(one.windows for one in strips) else ExitStatus.NO_GO))


def _say_unknown(doubts: tuple[str, ...], *, as_json: bool, plain: bool) -> None:
    from curewatch.cli import terminal

    if as_json:
        terminal.print_json({"verdict": "unknown", "remedies": list(doubts)})
    else:
        lines = ["UNKNOWN: no window can be told from these readings", *(f"  {doubt}" for doubt in doubts)]
        terminal.print_lines(lines, plain=plain, colour="yellow")


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
