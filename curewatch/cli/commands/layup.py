"""``curewatch layup``: from the hole to the schedule, and a bench card."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import (
    ConfigOption,
    FaceOption,
    JsonOption,
    MoistureOption,
    PlainOption,
    UnitsOption,
    WhyOption,
    settings,
)
from curewatch.errors import ConfigurationError, ExitStatus, OutOfValidity, UsageError

if TYPE_CHECKING:
    from curewatch.advice.judge.question import Question
    from curewatch.advice.plan.amounts import Repair
    from curewatch.advice.plan.geometry import Outline
    from curewatch.advice.plan.layup import Hands, LayupPlan
    from curewatch.answers.layup import LayupDocument
    from curewatch.materials.cloth import Cloth
    from curewatch.shed.look import Look
    from curewatch.wording import Wording

CARDS = (".html", ".htm", ".txt")  # that a bench card is written as


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
    room: Annotated[
        list[str] | None,
        typer.Option("--room", metavar="MM", help="For the scarf, where it is short. Repeatable."),
    ] = None,
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
        typer.Option(
            "--pace",
            metavar="MIN/M2",
            min=0.5,
            max=600,
            help="Your own, one layer, one person.",
            show_default=False,
        ),
    ] = None,
    scale: Annotated[float, typer.Option("--scale", metavar="G", min=0.01, help="Step of the scale.")] = 1.0,
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE", help="Bench card: .html or .txt.", show_default=False),
    ] = None,
    on: FaceOption = None,
    moisture: MoistureOption = None,
    why: WhyOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """From the hole to the schedule: scarf, layers, cloth, resin, batches, sessions, a bench card.

    Exit status 0 if something can begin in the coming 48 hours, 3 if not, 4 if that is unknown.

    Example: curewatch layup round --length 120 --thickness 6
    """
    from msgspec.structs import replace

    from curewatch.advice.plan.amounts import Repair
    from curewatch.advice.plan.layup import Hands
    from curewatch.advice.plan.windows import LENGTH
    from curewatch.answers.layup import layup_document
    from curewatch.cli import terminal
    from curewatch.cli.looking import looking
    from curewatch.cli.typed import face_from_text, moisture_from_text
    from curewatch.clock import SystemClock
    from curewatch.worklog.fields import length_between

    if card is not None and card.suffix.lower() not in CARDS:
        raise UsageError(f"--card: found {card.name!r}. Use a name that ends in {', '.join(CARDS)}")
    configuration, wording = settings(config, units)
    deep, short, ratio = _taper(thickness, room or (), ratio, sides)
    repair = Repair(
        hole=_hole(shape, length, width),
        thickness=deep,
        cloth=_cloth(cloth, areal),
        substrate=configuration.shed.substrate,
        ratio=ratio,
        sides=sides,
        overlap=length_between(0.0, 1.0)(overlap, "--overlap"),
        waste=waste / 100,
        room=short,
    )
    step = scale / 1000
    hands = Hands(people, None if pace is None else pace * 60, step)
    now = SystemClock().now().utc
    with looking(configuration, now, length=LENGTH) as look:
        repair = replace(repair, substrate=look.configuration.shed.substrate)
        asked = look.asked(
            resin=resin,
            peroxide_percent=peroxide,
            face=face_from_text(on),
            moisture=moisture_from_text(moisture),
        )
        made = planned(look, asked, repair, hands)
        _tell_short(look, made, wording)
    answer = layup_document(made, now, step)
    if as_json:
        terminal.print_json(answer)
    else:
        _show(answer, wording, why=why, plain=plain)
    if card is not None:
        _write_card(card, answer, wording, configuration.shed.name)
    raise typer.Exit(int(status(made)))


def _hole(shape: str, length: str, width: str | None) -> "Outline":
    """As it was typed. Raises UsageError."""
    from curewatch.advice.plan.geometry import RepairShape, outline
    from curewatch.worklog.fields import length_from_text

    if shape not in list(RepairShape):
        raise UsageError(f"the hole: found {shape!r}. Use {', '.join(RepairShape)}")
    if shape == RepairShape.ROUND and width is not None:
        raise UsageError(f"--width: found {width!r}, but a round hole has none. Leave it out, or use oval")
    wide = None if width is None else length_from_text(width, "--width")
    return outline(RepairShape(shape), length_from_text(length), wide)


def _cloth(kind: str, areal: float | None) -> "Cloth":
    """The cloth that was named; ``areal`` is in g/m²."""
    from curewatch.materials.cloth import load_cloth

    try:
        return load_cloth(kind, None if areal is None else areal / 1000)
    except ConfigurationError as trouble:
        raise UsageError(f"--cloth: found {kind!r}. Use {trouble.allowed}") from None


def _taper(
    thickness: str, room: Sequence[str], ratio: float, sides: int
) -> tuple[float, tuple[float, ...], float]:
    """Depth, the room where it is too short for the usual taper, and the ratio that fits. [m]"""
    from curewatch.advice.choose.need import room_for_taper
    from curewatch.worklog.fields import laminate_from_text, length_from_text

    deep = laminate_from_text(thickness, "--thickness")
    short = tuple(length_from_text(each, "--room") for each in room)
    if short and min(short) < deep / sides:
        found = f"{1000 * min(short):g} mm"
        raise UsageError(f"--room: found {found}. Use {1000 * deep / sides:g} mm or more, or a doubler")
    fits = room_for_taper(deep, short, both_sides=sides == 2)
    return (deep, (), ratio) if fits.fits else (deep, short, min(ratio, fits.ratio))


def _show(answer: "LayupDocument", wording: "Wording", *, why: bool, plain: bool) -> None:
    from curewatch.cli.screens.layup import lines
    from curewatch.cli.terminal import columns, print_lines

    print_lines(lines(answer, wording, columns(), why=why), plain=plain)


def _write_card(card: Path, answer: "LayupDocument", wording: "Wording", shed: str) -> None:
    """The sheet to pin up at the bench."""
    from curewatch.cli.screens import bench_card
    from curewatch.cli.terminal import note

    write = bench_card.html if card.suffix.lower() in {".html", ".htm"} else bench_card.text
    card.write_text(write(answer, wording, shed), encoding="utf-8")
    note(f"bench card written to {card}")


def _tell_short(look: "Look", made: "LayupPlan", wording: "Wording") -> None:
    """What the tins lack for this plan, where somebody counted them."""
    from curewatch.cli.terminal import note
    from curewatch.worklog.stock import stock

    there = stock(look.logbook, look.configuration, made.resin)
    short = None if there is None else there.short(made.amounts.resin, made.amounts.added)
    if short is not None:
        note(wording.say(short))


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
    from curewatch.advice.judge.answer import Status

    if any(check.status is Status.FAILS for check in made.below):
        return ExitStatus.NO_GO
    if made.schedule is None or any(check.status is Status.UNKNOWN for check in made.below):
        return ExitStatus.UNKNOWN
    return ExitStatus.OK if made.schedule.sessions else ExitStatus.NO_GO
