"""``curewatch job``: the job log at the bench. Each form asks what is missing; nothing is ever edited."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from curewatch import worklog
from curewatch.answers.job import job_close_document
from curewatch.cli.commands.job.correct import correct
from curewatch.cli.commands.job.show import list_, show
from curewatch.cli.commands.job.withdraw import withdraw
from curewatch.cli.desk import AgoOption, AtOption, Bench, ForceOption, JobOption, desk, said
from curewatch.cli.forms import at_terminal, fill, nothing_given, with_fields
from curewatch.cli.job_forms import FORMS, of_batch
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.screens.job import told_line
from curewatch.cli.screens.square import square_lines
from curewatch.cli.terminal import note, print_json, say
from curewatch.configuration import ResinTable
from curewatch.errors import ExitStatus, UsageError
from curewatch.logbook import Entry, EntryKind, keys, sealing
from curewatch.materials import Resin, load_resin
from curewatch.shed import layer_log, pot_log
from curewatch.units import MINUTE
from curewatch.wording import Wording
from curewatch.worklog import opening, quality, telling
from curewatch.worklog.fields import Field
from curewatch.worklog.order import ToldTime

app = typer.Typer(
    add_completion=False, help="The job log: open, batches, peel ply, wash, checks, notes, photos, close."
)


def _fields(
    kind: str,
    job: worklog.Job,
    given: Mapping[str, str | None],
    words: Wording,
    shelf: ResinTable | None = None,
    *,
    asking: bool = True,
) -> dict[str, Any]:
    """A form filled from options, the last entry of its kind in this job, the shelf, and the person."""
    return fill(FORMS[kind], given, _before(kind, job, shelf), at_terminal() if asking else None, words)


def _before(kind: str, job: worklog.Job, shelf: ResinTable | None) -> dict[str, Any]:
    """What was said last time, and at the opening."""
    last = job.last(kind)
    before = dict(last.payload) if last else {}
    before.setdefault("by", job.opened.payload.get("by"))
    before.setdefault("resin", job.opened.payload.get("resin"))
    if shelf is not None and before["resin"] == shelf.name:
        before.setdefault("resin_lot", shelf.lot)
    return before


def _weighed(
    job: worklog.Job, given: Mapping[str, str | None], words: Wording, shelf: ResinTable
) -> tuple[Resin, dict[str, Any]]:
    """A batch's form: the resin first, for it decides whether hardener or peroxide is asked for.

    Raises
    ------
    UsageError
        The other one was given.
    """
    before, ask = _before(EntryKind.BATCH, job, shelf), at_terminal()
    name = fill(FORMS[EntryKind.BATCH][:1], given, before, ask, words).get("resin", shelf.name)
    resin = load_resin(name, folder=shelf.folder)
    if name != before["resin"]:
        before = _of_its_tins(before, job, name, shelf)
    fields = of_batch(resin.chemistry.added)
    known = {"resin", *(each.key for each in fields)}
    wrong = next(
        (each for each in FORMS[EntryKind.BATCH] if each.key not in known and given.get(each.key)), None
    )
    if wrong is not None:
        added = resin.chemistry.added
        raise UsageError(f"{wrong.option}: {resin.name} is mixed with {added}. Use --{added}-mass")
    rest = {key: text for key, text in given.items() if key in known}
    values = telling.taken_over(fill(fields, rest, before, ask, words), before, rest)
    shown = ask is not None and nothing_given(rest)
    of_tins = [each for each in fields if each.key.endswith(_OF_TINS) and not (shown and each.asked)]
    said_again = [each.key for each in of_tins if rest.get(each.key) is None]
    last = ", ".join(f"{key.replace('_', ' ')} {values[key]}" for key in said_again if key in values)
    if last:
        note(f"as no other was told: {last}")
    return resin, {"resin": name} | values


_OF_TINS = ("_lot", "_product", "_expiry")


def _of_its_tins(before: dict[str, Any], job: worklog.Job, name: str, shelf: ResinTable) -> dict[str, Any]:
    """Lots, makers and expiries as of this resin's own last batch; those of another resin are left out."""
    own = [each.payload for each in job.of(EntryKind.BATCH) if each.payload.get("resin") == name]
    tins = own[-1] if own else {"resin_lot": shelf.lot if name == shelf.name else None}
    return {key: value for key, value in before.items() if not key.endswith(_OF_TINS)} | {
        key: value for key, value in tins.items() if key.endswith(_OF_TINS)
    }


def _photograph(text: str, option: str) -> dict[str, Any]:
    from curewatch.worklog import photo as photographs

    return photographs.payload(Path(text.strip()).expanduser())


_FILE = Field("file", "The photograph's file", _photograph, needed=True, name="file")


def _form(kind: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    fields: tuple[Field, ...] = FORMS[kind]
    return lambda function: with_fields(fields, function)


@app.command("open")
@_form(EntryKind.JOB_OPEN)
def open_(
    given: dict[str, str | None],
    *,
    name: Annotated[str | None, typer.Option("--name", help="A short name; else J1, J2, ...")] = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Open a job: what is done, on what, with which resin.

    Example: curewatch job open --title "new rudder cheek" --by "the owner"
    """
    with desk(config, units, ago, at) as place:
        usual = opening.usual(place.configuration)
        values = fill(FORMS[EntryKind.JOB_OPEN], given, usual, at_terminal(), place.words)
        chosen = None if name is None else _name(name)
        then = place.asked_when(given)
        stored = opening.open_job(
            place.logbook, place.configuration, values, happened=then.happened, now=then.now, name=chosen
        )
        said(place, stored, f"job {stored.job} opened: {stored.payload['title']}", json)


def _name(text: str) -> str:
    name = text.strip()
    if not 1 <= len(name) <= 32 or not all(letter.isalnum() or letter in "-_" for letter in name):
        raise UsageError(f"--name: found {text!r}. Use 1 to 32 letters, digits, - and _")
    return name


@app.command()
@_form(EntryKind.BATCH)
def batch(
    given: dict[str, str | None],
    *,
    scale: Annotated[float, typer.Option("--scale", help="Step of the scale in grams.")] = 1.0,
    anyway: Annotated[
        bool,
        typer.Option(
            "--force", help="Keep a ratio outside its tolerance, or a time that contradicts another."
        ),
    ] = False,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """A cup was weighed and mixed: masses, lots; the ratio is held against its tolerance.

    Example: curewatch job batch --resin-mass "200 g" --hardener-mass "44 g" --resin-lot "demo lot 7"
    """
    if not 0 < scale <= 100:
        raise UsageError(f"--scale: found {scale:g}. Use above 0 to 100 g")
    with desk(config, units, ago, at) as place:
        found = worklog.writable(place.logbook, job)
        resin, values = _weighed(found, given, place.words, place.configuration.resin)
        telling.probe(place.configuration, values.get("probe"), "cup")
        telling.cup_within(values.get("probe_mass"), values)
        added = telling.added_mass(values)
        ratio, advised = telling.proportions(resin, values["resin_mass"], added, scale_step=scale / 1000)
        if not ratio["within"]:
            note(f"ratio outside its tolerance: {ratio['text']}. {place.words.say(advised)}")
            if not anyway:
                note("nothing was written down; correct the mix, or add --force to record it as it was")
                raise typer.Exit(int(ExitStatus.FAILURE))
        then = place.asked_when(given)
        then.in_order(found, ToldTime(EntryKind.BATCH, then.happened, then.now), force=anyway)
        weighed = values | {"ratio": ratio, "scale_step": scale / 1000}
        stored = then.entry(telling.batch(found, weighed, then.happened))
        mixed = place.words.mass(values["resin_mass"] + added)
        lots = ", ".join(f"{key.replace('_', ' ')} {values[key]}" for key in _LOTS if key in values)
        said(
            place,
            stored,
            f"{stored.payload['batch']}: {mixed}, {_marked(ratio)}; {lots or 'no lot named'}",
            json,
        )


def _marked(ratio: Mapping[str, Any]) -> str:
    return str(ratio["text"]) if ratio["within"] else f"OUT OF TOLERANCE: {ratio['text']}"


_LOTS = ("resin_lot", "hardener_lot", "peroxide_lot")


def simple(kind: str, name: str) -> Callable[[Callable[[Bench, worklog.Job, dict[str, Any]], Entry]], None]:
    """Make a command of a function that turns a filled form into an entry; its docstring is the help."""

    def register(make: Callable[[Bench, worklog.Job, dict[str, Any]], Entry]) -> None:
        def command(
            given: dict[str, str | None],
            *,
            job: JobOption = None,
            ago: AgoOption = None,
            at: AtOption = None,
            force: ForceOption = False,
            config: ConfigOption = None,
            units: UnitsOption = None,
            json: JsonOption = False,
        ) -> None:
            with desk(config, units, ago, at) as place:
                signs = kind == EntryKind.SIGN_OFF  # whoever checks may come after the job was closed
                found = (worklog.current if signs else worklog.writable)(place.logbook, job)
                values = _fields(kind, found, given, place.words)
                then = place.asked_when(given)
                entry = make(then, found, values)
                then.in_order(found, _told_time(entry, then), force=force)
                stored = then.entry(entry)
                said(place, stored, told_line(stored.kind, stored.payload, place.words), json)

        command.__doc__ = make.__doc__
        app.command(name)(with_fields(FORMS[kind], command))

    return register


def _told_time(entry: Entry, place: Bench) -> ToldTime:
    return ToldTime(entry.kind, place.happened, place.now, layer=str(entry.payload.get("layer", "")))


@simple(EntryKind.POT_EMPTY, "pot-empty")
def _pot_empty(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """Nothing is left in the pot of a layer: its pot alarm ends, and never rings again.

    Example: curewatch job pot-empty --layer L1
    """
    if values.get("batch"):
        telling.batches(job, [values["batch"]])  # refuses one that is not of this job
        return Entry(EntryKind.POT_EMPTY, values, place.happened, job=job.name)
    layer = telling.layer_of(job, values.get("layer") or _open_pot(place, job), place.happened)
    return Entry(EntryKind.POT_EMPTY, values | {"layer": layer}, place.happened, job=job.name)


def _open_pot(place: Bench, job: worklog.Job) -> str | None:
    """The layer whose pot alone can be meant; of several none is guessed: the other's alarm would end."""
    running = layer_log.running(place.logbook, place.now)
    mine = (each for each in running if each.job == job.name and each.batch_mass is not None)
    then = [each for each in mine if -MINUTE <= place.happened - each.started <= pot_log.LONGEST]
    waiting = [each.layer for each in then if each.pot_emptied is None]
    if len(waiting) > 1:
        use = " or ".join(f"--layer {name}" for name in waiting)
        raise UsageError(f"pot-empty: found open pots of {', '.join(waiting)}. Use {use}")
    return waiting[0] if waiting else None


@simple(EntryKind.PEEL_PLY, "peel-ply")
def _peel_ply(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """Peel ply went on, or came off. Abrade if it was on for days: the bond is weaker otherwise.

    Example: curewatch job peel-ply --action on
    """
    layer = telling.layer_of(job, values.get("layer"), place.happened)
    return Entry(EntryKind.PEEL_PLY, values | {"layer": layer}, place.happened, job=job.name)


@simple(EntryKind.WASH, "wash")
def _wash(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """The surface was washed, abraded, or both.

    Example: curewatch job wash --action both
    """
    layer = telling.layer_of(job, values.get("layer"), place.happened)
    action = "wash-and-abrade" if values["action"] == "both" else values["action"]
    return Entry(EntryKind.WASH, values | {"layer": layer, "action": action}, place.happened, job=job.name)


@simple(EntryKind.PRIMER, "primer")
def _primer(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """A timber primer was brushed on: an alert rings when it should be tacky. Its sheet comes first.

    Moisture-curing primers hold isocyanates, which can cause asthma for life: the mask that the sheet
    names, gloves, eye protection.

    Example: curewatch job primer --part "rudder cheek" --tacky-after "20 min" --open-for "2 h"
    """
    return Entry(EntryKind.PRIMER, telling.primer(job, values), place.happened, job=job.name)


@simple(EntryKind.QUALITY, "quality")
def _quality(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """A quality check: Barcol or thickness readings, coin tap, or a peel coupon's load and lever arm.

    Example: curewatch job quality --check "peel coupon" --load "2 kg" --arm 120 --passed passed
    """
    layer = telling.layer_of(job, values.get("layer"), place.happened)
    quality.require_its_own(values)
    measured = values | {"layer": layer, "passed": values.get("passed")} | quality.measured(values)
    return Entry(EntryKind.QUALITY, measured, place.happened, job=job.name)


@simple(EntryKind.DEVIATION, "deviation")
def _deviation(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """Something was otherwise than planned: what, what was decided, and by whom. It stands on page 1.

    Example: curewatch job deviation --deviation "16 C" --decision "heated first" --decided-by "the owner"
    """
    return Entry(EntryKind.DEVIATION, values, place.happened, job=job.name)


@simple(EntryKind.SIGN_OFF, "sign")
def _sign(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """Sign for the job: done as written, or checked by somebody else. Each stands on page 1 of the record.

    Example: curewatch job sign --as done --by "the owner"
    """
    return Entry(EntryKind.SIGN_OFF, values, place.happened, job=job.name)


@simple(EntryKind.NOTE, "note")
def _note(place: Bench, job: worklog.Job, values: dict[str, Any]) -> Entry:
    """A note in free words.

    Example: curewatch job note --text "fillets made before the first layer"
    """
    return Entry(EntryKind.NOTE, values, place.happened, job=job.name)


@app.command()
@_form(EntryKind.PHOTO)
def photo(
    given: dict[str, str | None],
    *,
    file: Annotated[
        str | None, typer.Argument(help="JPEG, PNG, WebP or TIFF; it stays where it is.", show_default=False)
    ] = None,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """A photograph by file: its name, hash and a thumbnail are kept, the file is not moved.

    Example: curewatch job photo scarf.jpg --text "scarf ground 12:1"
    """
    with desk(config, units, ago, at) as place:
        found = worklog.writable(place.logbook, job)
        told = given if file is None else given | {"file": file}
        payload = fill((_FILE,), {"file": file}, {}, at_terminal())["file"]
        values = _fields(EntryKind.PHOTO, found, given, place.words, asking=nothing_given(told))
        then = place.asked_when(told)
        stored = then.entry(Entry(EntryKind.PHOTO, payload | values, then.happened, job=found.name))
        said(place, stored, f"photo {payload['file']}, sha256 {payload['sha256'][:16]}...", json)


app.command()(correct)
app.command()(withdraw)
app.command("list")(list_)
app.command()(show)


@app.command()
@_form(EntryKind.JOB_REOPEN)
def reopen(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Open a closed job again: a closed one takes nothing. The record shows both.

    Example: curewatch job reopen --job rudder-cheek --reason "a second coat was needed"
    """
    with desk(config, units) as place:
        if job is None:
            raise UsageError("--job: found none. Use the name of the closed job: curewatch job list")
        found = worklog.read(place.logbook, job)
        if found.closed is None:
            raise UsageError(f"job {found.name}: found it open. Use it as it is")
        values = fill(FORMS[EntryKind.JOB_REOPEN], given, {}, at_terminal(), place.words)
        stored = place.entry(Entry(EntryKind.JOB_REOPEN, {"job": found.name, **values}, place.now, job=job))
        said(place, stored, f"job {found.name} opened again", json)


@app.command()
@_form(EntryKind.JOB_CLOSE)
def close(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Close a job and seal the logbook; prints the seal code to write on the job card.

    Example: curewatch job close --outcome "ready to sand"
    """
    from curewatch.cli.screens.logbook import dated_line
    from curewatch.logbook.stamping import date_newest

    with desk(config, units) as place:
        found = worklog.current(place.logbook, job)
        if found.closed is not None:
            raise UsageError(f"job {found.name} was closed already, entry {found.closed.number}")
        values = _fields(EntryKind.JOB_CLOSE, found, given, place.words)
        if found.running:
            note(f"still counting down in this job: {', '.join(found.running)}")
        closing = Entry(EntryKind.JOB_CLOSE, {"job": found.name, **values}, place.now, job=found.name)
        if place.logbook.sealed_here:
            keys.signing_key(place.logbook)  # before the job is closed: whoever cannot seal is told first
        stored = place.entry(closing)
        seal = sealing.seal(place.logbook, reason="job-close", at=place.now)
        kept = place.configuration.logbook
        undated = date_newest(place.logbook, kept.stamp_authority, kept.stamp_roots_file, place.now)
        document = job_close_document(stored, seal, undated)
        if json:
            print_json(document)
            return
        said(place, stored, f"job {found.name} closed", json=False)
        say(f"Seal code: {seal.code}", *square_lines(seal.digest), dated_line(document.undated))
        say(
            "Write it on the job card or send it to somebody: it fixes everything before it.",
            "`record write` seals again: its code fixes the pages too.",
        )
