"""``curewatch layup``: from the hole to the schedule, and a bench card."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.errors import ExitStatus, OutOfValidity, UsageError

if TYPE_CHECKING:
    from curewatch.advice.judge.question import Question
    from curewatch.advice.plan.amounts import Repair
    from curewatch.advice.plan.layup import Hands, LayupPlan
    from curewatch.shed.look import Look


def app(
    *,
    shape: Annotated[str, typer.Argument(metavar="SHAPE", help="round, oval, rectangular or strip.")],
    length: Annotated[
        str, typer.Option("--length", metavar="MM", help="Of the hole; a round one's diameter.")
    ],
    thickness: Annotated[str, typer.Option("--thickness", metavar="MM", help="Of the laminate.")],
    width: Annotated[
        str | None, typer.Option("--width", metavar="MM", help="Of the hole.", show_default=False)
    ] = None,
    ratio: Annotated[float, typer.Option("--ratio", help="Scarf: length to depth.")] = 12.0,
    sides: Annotated[int, typer.Option("--sides", min=1, max=2, help="Worked from one side or both.")] = 1,
    cloth: Annotated[
        str, typer.Option("--cloth", metavar="KIND", help="Kind of cloth.")
    ] = "stitched-biaxial",
    areal: Annotated[
        float | None, typer.Option("--areal", metavar="G/M2", help="Its mass by area.", show_default=False)
    ] = None,
    overlap: Annotated[
        str, typer.Option("--overlap", metavar="MM", help="Of each layer beyond its place.")
    ] = "0",
    waste: Annotated[float, typer.Option("--waste", metavar="PERCENT", help="Of cloth and resin.")] = 15.0,
    resin: Annotated[
        str | None, typer.Option("--resin", metavar="NAME", help="A resin system.", show_default=False)
    ] = None,
    peroxide: Annotated[
        float | None, typer.Option("--peroxide", metavar="PERCENT", help="Polyester.", show_default=False)
    ] = None,
    people: Annotated[int, typer.Option("--people", min=1, max=10, help="Who wet out.")] = 1,
    pace: Annotated[
        float | None,
        typer.Option("--pace", metavar="MIN/M2", help="Your own, one layer, one person.", show_default=False),
    ] = None,
    scale: Annotated[float, typer.Option("--scale", metavar="G", min=0.01, help="Step of the scale.")] = 1.0,
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE", help="Bench card: .html or .txt.", show_default=False),
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """From the hole to the schedule: scarf, layers, cloth, resin, batches, sessions, a bench card.

    Exit status 0 if something can begin in the coming 48 hours, 3 if not, 4 if that is unknown.

    Example: curewatch layup round --length 120 --thickness 6
    """
    from curewatch.advice.plan.amounts import Repair
    from curewatch.advice.plan.geometry import RepairShape, outline
    from curewatch.advice.plan.layup import Hands
    from curewatch.advice.plan.windows import LENGTH
    from curewatch.answers.layup import layup_document
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.screens import layup as screen
    from curewatch.cli.typed import length_from_text
    from curewatch.clock import SystemClock
    from curewatch.materials.cloth import load_cloth

    if shape not in list(RepairShape):
        raise UsageError(f"a hole that is {shape!r}; allowed: {', '.join(RepairShape)}")
    configuration, wording = settings(config, units)
    repair = Repair(
        hole=outline(
            RepairShape(shape),
            length_from_text(length),
            None if width is None else length_from_text(width, "--width"),
        ),
        thickness=length_from_text(thickness, "--thickness"),
        cloth=load_cloth(cloth, None if areal is None else areal / 1000),
        substrate=configuration.shed.substrate,
        ratio=ratio,
        sides=sides,
        overlap=length_from_text(overlap, "--overlap"),
        waste=waste / 100,
    )
    step = scale / 1000
    hands = Hands(people, None if pace is None else pace * 60, step)
    now = SystemClock().now().utc
    with looking(configuration, now, length=LENGTH) as look:
        made = planned(look, look.asked(resin=resin, peroxide_percent=peroxide), repair, hands)
    answer = layup_document(made, now, step)
    if as_json:
        terminal.print_json(answer)
    else:
        terminal.print_lines(screen.lines(answer, wording, terminal.columns()), plain=plain)
    if card is not None:
        from curewatch.cli.screens import bench_card

        write = bench_card.html if card.suffix.lower() in {".html", ".htm"} else bench_card.text
        card.write_text(write(answer, wording, configuration.shed.name), encoding="utf-8")
        terminal.note(f"bench card written to {card}")
    raise typer.Exit(int(status(made)))


def planned(look: "Look", asked: "Question", repair: "Repair", hands: "Hands") -> "LayupPlan":
    """The plan with its sessions; the amounts alone where the readings cannot be trusted."""
    from curewatch.advice.plan.layup import bill, plan
    from curewatch.advice.plan.windows import LENGTH
    from curewatch.cli.terminal import note
    from curewatch.shed.consult import working_spans

    foreseen = look.foreseen(asked)
    if foreseen is None:
        return bill(repair, asked, hands)
    working = working_spans(look.configuration, look.at, look.at + LENGTH)
    try:
        return plan(repair, asked, *foreseen, working=working, hands=hands)
    except OutOfValidity as trouble:
        note(f"no times: {trouble}")
        return bill(repair, asked, hands)


def status(made: "LayupPlan") -> ExitStatus:
    """What a script may rely on."""
    if made.schedule is None:
        return ExitStatus.UNKNOWN
    return ExitStatus.OK if made.schedule.sessions else ExitStatus.NO_GO
