"""``curewatch observe``: what somebody saw of a layer or a test cup; the model learns from it."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import Struct

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption

if TYPE_CHECKING:
    from curewatch.cli.desk import Bench
    from curewatch.jobs import Layer
    from curewatch.model.fit.learning import Lesson

HOTTEST_CUP = 623.15  # K; above that it burns
WORDS = ("kicked", "gelled", "tack-free", "firm")


class ToldOptions(Struct, frozen=True):
    """What was said on the command line."""

    observed: str | None
    layer: str | None
    cup: Path | None
    mass: float | None  # [kg]
    temperature: float | None  # [K]
    by: str | None
    force: bool  # kept also where it contradicts what is expected
    asking: bool  # nothing was given: who and when are asked, too


def app(
    observed: Annotated[
        str | None,
        typer.Argument(metavar="[kicked|gelled|tack-free|firm]", help="What.", show_default=False),
    ] = None,
    *,
    at: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="When: 20:15; else now.", show_default=False)
    ] = None,
    ago: Annotated[
        str | None, typer.Option("--ago", metavar="SPAN", help="So long ago: 20 min.", show_default=False)
    ] = None,
    layer: Annotated[
        str | None,
        typer.Option("--layer", metavar="NAME", help="Which; else the running one.", show_default=False),
    ] = None,
    cup: Annotated[
        Path | None,
        typer.Option("--cup", metavar="FILE", help="CSV of a thermometer in a test cup.", show_default=False),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option("--mass", metavar="MASS", help="In pot or cup; else as laid.", show_default=False),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="C", help="Where nothing was measured.", show_default=False),
    ] = None,
    by: Annotated[str | None, typer.Option("--by", help="Who.", show_default=False)] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Withdraw the last observation.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Keep one that is not expected.")] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Say what you saw of a running layer: the model learns how fast this lot of resin is.

    kicked: the pot got hot or stringy. gelled: no longer flows. tack-free: a finger leaves no mark.
    firm: a thumbnail leaves no dent. Each makes a new version of the resin for this lot; the bands of
    what is foretold get narrower. A time that is not expected is asked again: it may be another layer or
    hour. Kept with --force, it moves the times of its own layer a little and no others. --undo withdraws
    the last one; the alerts are judged again within a minute. A cup's file may
    have a column air_c. Else its air is what was recorded then, or --temperature if it stayed.

    Example: curewatch observe gelled --ago "5 min" --layer L1
    """
    from curewatch.cli.desk import desk
    from curewatch.cli.forms import at_terminal
    from curewatch.cli.typed import batch_mass_from_text, cure_temperature_from_text
    from curewatch.errors import UsageError

    asking = not undo and observed is None and cup is None and at_terminal() is not None
    if asking:
        observed = _asked()
    if undo and observed:
        raise UsageError("--undo stands alone: it withdraws the last observation")
    if not undo and (observed is None) == (cup is None):
        raise UsageError(f"say what you saw ({', '.join(WORDS)}), or give --cup FILE; one of the two")
    if observed is not None and observed not in WORDS:
        raise UsageError(f"what was observed: found {observed!r}. Use {', '.join(WORDS)}")
    with desk(config, units, ago, at) as place:
        if undo:
            _undo(place, by, json=json)
            return
        heavy = None if mass is None else batch_mass_from_text(mass, words=place.words)
        warm = None if temperature is None else cure_temperature_from_text(temperature, words=place.words)
        told = ToldOptions(observed, layer, cup, heavy, warm, by, force, asking)
        _learn(place, told, json=json)


def _asked() -> str:
    """What was seen, from the person at the terminal."""
    from curewatch.cli.forms import at_terminal, fill
    from curewatch.cli.job_forms import FORMS
    from curewatch.logbook import EntryKind

    return str(fill(FORMS[EntryKind.OBSERVATION][:1], {"observed": None}, {}, at_terminal())["observed"])


def _who_and_when(place: "Bench", last: str | None) -> "tuple[Bench, str | None]":
    """The rest of the form, once it is clear that there is a layer to learn from."""
    from curewatch.cli.forms import at_terminal, fill
    from curewatch.worklog.fields import BY

    who = fill((BY,), {"by": None}, {"by": last}, at_terminal())
    return place.asked_when({}), who.get("by")


def _learn(place: "Bench", told: ToldOptions, *, json: bool) -> None:
    from curewatch.answers.observe import observe_document
    from curewatch.cli import terminal
    from curewatch.cli.history_file import read_cup
    from curewatch.cli.screens import observe as screen
    from curewatch.shed import learnt
    from curewatch.worklog import observing

    layer = observing.running_layer(place.logbook, place.now, told.layer, for_cup=told.cup is not None)
    job = layer.job if layer else _open_job(place)
    by = told.by or _last_who(place, job)
    if told.asking:
        place, by = _who_and_when(place, by)
    cup = None if told.cup is None else read_cup(told.cup, HOTTEST_CUP)
    sighting = observing.Sighting(told.observed, layer, cup, told.mass, told.temperature)
    learning = observing.learning(place, sighting)  # refuses before anything is written
    if learning.lesson.contradicts and not told.force:
        _ask_again(learning.what, learning.lesson, json=json)
    place.entry(observing.entry(place, learning, job, by))
    name, lot = learning.evidence.layer, learning.lot
    found = learnt.lessons(place.logbook, learning.resin, lot)
    document = observe_document(found, layer=name, resin=learning.resin.name, lot=lot)
    if json:
        terminal.print_json(document)
        return
    terminal.print_lines([*screen.lines(learning.what, document), *_next(layer)])


def _ask_again(what: str, lesson: "Lesson", *, json: bool) -> None:
    """Whether it is to be kept, though it contradicts what is expected; UsageError if it is not."""
    from curewatch.answers.observe import observation_part
    from curewatch.cli import terminal
    from curewatch.cli.forms import at_terminal
    from curewatch.cli.screens.observe import not_expected
    from curewatch.errors import UsageError

    there, said = None if json else at_terminal(), not_expected(what, observation_part(lesson, ""))
    if there is None:
        raise UsageError(f"{said} Check the layer and the time, or use --force")
    terminal.print_lines([said, "Check the layer, the time and the resin."])
    if there("keep it all the same (y/n)", "n").strip().lower() not in {"y", "yes"}:
        raise UsageError("nothing was written down. Tell it again with the right layer and time")


def _last_who(place: "Bench", job: str | None) -> str | None:
    """Who told the last thing of its kind in this job, or opened it; UsageError where it is closed."""
    from curewatch import worklog
    from curewatch.logbook import EntryKind

    if job is None or job not in worklog.names(place.logbook):
        return None
    return worklog.writable(place.logbook, job).last_person(EntryKind.OBSERVATION)


def _open_job(place: "Bench") -> str | None:
    """A test cup belongs to the job that is open, if just one is."""
    from curewatch import worklog

    names = worklog.names(place.logbook, open_only=True)
    return names[0] if len(names) == 1 else None


def _undo(place: "Bench", by: str | None, *, json: bool) -> None:
    from curewatch.answers.observe import observe_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import observe as screen
    from curewatch.errors import UsageError
    from curewatch.logbook import Entry, EntryKind
    from curewatch.materials import load_resin
    from curewatch.shed import learnt

    standing = list(learnt.standing(place.logbook))
    if not standing:
        raise UsageError("there is no observation to withdraw")
    last, payload = standing[-1]
    named = str(payload.get("resin_asked") or payload.get("resin"))
    resin = load_resin(named, place.configuration.resin.folder)
    changes = {
        "corrects": last.number,
        "changes": {"withdrawn": True},
        "reason": "undone by `curewatch observe --undo`",
    } | ({"by": by} if by else {})
    place.entry(Entry(EntryKind.CORRECTION, changes, place.now, job=last.job))
    lot, layer = payload.get("lot"), str(payload.get("layer") or "")
    found = learnt.lessons(place.logbook, resin, lot)
    document = observe_document(found, layer=layer, resin=resin.name, lot=lot, withdrawn=last.number)
    if json:
        terminal.print_json(document)
        return
    when = place.words.moment(last.at, place.now)
    told = f"{payload.get('observed')} of {payload.get('layer') or 'a cup'}"
    first = f"withdrawn: {told}, {when} (entry {last.number})"
    terminal.print_lines([first, "", *screen.history(document)])


def _next(layer: "Layer | None") -> list[str]:
    return ["", "  Countdowns by what was learnt: curewatch layer --running"] if layer else []
