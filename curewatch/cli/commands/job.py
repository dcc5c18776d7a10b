"""``curewatch job``: the job log at the bench. Each form asks what is missing; nothing is ever edited."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from curewatch import joblog
from curewatch.cli.desk import AgoOption, AtOption, ByOption, Desk, JobOption, desk, plain_entry, said
from curewatch.cli.forms import Field, at_terminal, fill, with_fields
from curewatch.cli.job_forms import FORMS
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.screens.job import changed, job_lines, listed, told_line
from curewatch.cli.terminal import note, print_json, say
from curewatch.cli.typed import moment_from_text
from curewatch.clock import iso_utc
from curewatch.configuration import Resin
from curewatch.errors import ExitStatus, UsageError
from curewatch.joblog import quality, telling
from curewatch.logbook import Entry, Kind, sealing
from curewatch.materials import load_system

app = typer.Typer(help="The job log: open, batches, peel ply, wash, checks, notes, photos, close.")


def _fields(
    kind: str, job: joblog.Job, given: Mapping[str, str | None], shelf: Resin | None = None
) -> dict[str, Any]:
    """A form filled from options, the last entry of its kind in this job, the shelf, and the person."""
    last = job.last(kind)
    before = dict(last.payload) if last else {}
    before.setdefault("by", job.opened.payload.get("by"))
    before.setdefault("system", job.opened.payload.get("system"))
    if shelf is not None and before["system"] == shelf.system:
        before.setdefault("resin_lot", shelf.lot)
    return fill(FORMS[kind], given, before, at_terminal())


def _form(kind: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    fields: tuple[Field, ...] = FORMS[kind]
    return lambda function: with_fields(fields, function)


@app.command("open")
@_form(Kind.JOB_OPEN)
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
        shed, resin = place.configuration.shed, place.configuration.resin
        defaults = {
            "boat": shed.boat or None,
            "substrate": shed.substrate,
            "thickness": None if shed.thickness_mm is None else shed.thickness_mm / 1000,
            "system": resin.system,
            "rules": [place.configuration.limits.rules],
        }
        values = fill(FORMS[Kind.JOB_OPEN], given, defaults, at_terminal())
        kept = {key: value for key, value in defaults.items() if value is not None} | values
        chosen = None if name is None else _name(name)
        entry = telling.opening(place.logbook, kept | {"zone": shed.zone}, place.happened, chosen)
        said(place, place.entry(entry), f"job {entry.job} opened: {kept['title']}", json)


def _name(text: str) -> str:
    name = text.strip()
    if not 1 <= len(name) <= 32 or not all(letter.isalnum() or letter in "-_" for letter in name):
        raise UsageError(f"--name {text!r}; allowed: 1 to 32 letters, digits, - and _")
    return name


@app.command()
@_form(Kind.BATCH)
def batch(
    given: dict[str, str | None],
    *,
    scale: Annotated[float, typer.Option("--scale", help="Step of the scale in grams.")] = 1.0,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Write it down although the ratio is outside its tolerance.")
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
        raise UsageError(f"--scale {scale:g}; allowed: above 0 to 100 g")
    with desk(config, units, ago, at) as place:
        found = joblog.current(place.logbook, job)
        values = _fields(Kind.BATCH, found, given, place.configuration.resin)
        name = values.setdefault("system", place.configuration.resin.system)
        system = load_system(name, folder=place.configuration.resin.folder)
        ratio, advised = telling.proportions(
            system, values["resin_mass"], values["hardener_mass"], scale_step=scale / 1000
        )
        if not ratio["within"]:
            note(f"ratio outside its tolerance: {ratio['text']}. {place.words.say(advised)}")
            if not anyway:
                note("nothing was written down; put it right, or add --anyway to record it as it was")
                raise typer.Exit(int(ExitStatus.FAILURE))
        weighed = values | {"ratio": ratio, "scale_step": scale / 1000}
        stored = place.entry(telling.batch(found, weighed, place.happened))
        mixed = place.words.mass(values["resin_mass"] + values["hardener_mass"])
        lots = ", ".join(f"{key.replace('_', ' ')} {values[key]}" for key in _LOTS if key in values)
        said(
            place,
            stored,
            f"{stored.payload['batch']}: {mixed}, {_marked(ratio)}; {lots or 'no lot named'}",
            json,
        )


def _marked(ratio: Mapping[str, Any]) -> str:
    return str(ratio["text"]) if ratio["within"] else f"OUT OF TOLERANCE: {ratio['text']}"


_LOTS = ("resin_lot", "hardener_lot")


def simple(kind: str, name: str) -> Callable[[Callable[[Desk, joblog.Job, dict[str, Any]], Entry]], None]:
    """Make a command of a function that turns a filled form into an entry; its docstring is the help."""

    def register(make: Callable[[Desk, joblog.Job, dict[str, Any]], Entry]) -> None:
        def command(
            given: dict[str, str | None],
            *,
            job: JobOption = None,
            ago: AgoOption = None,
            at: AtOption = None,
            config: ConfigOption = None,
            units: UnitsOption = None,
            json: JsonOption = False,
        ) -> None:
            with desk(config, units, ago, at) as place:
                found = joblog.current(place.logbook, job)
                stored = place.entry(make(place, found, _fields(kind, found, given)))
                said(place, stored, told_line(joblog.Told(stored, stored.payload), place.words), json)

        command.__doc__ = make.__doc__
        app.command(name)(with_fields(FORMS[kind], command))

    return register


@simple(Kind.PEEL_PLY, "peel-ply")
def _peel_ply(place: Desk, job: joblog.Job, values: dict[str, Any]) -> Entry:
    """Peel ply went on, or came off. Abrade if it was on for days: the bond is weaker otherwise.

    Example: curewatch job peel-ply --action on
    """
    layup = telling.layup_of(job, values.get("layup"))
    return Entry(Kind.PEEL_PLY, values | {"layup": layup}, place.happened, job=job.name)


@simple(Kind.WASH, "wash")
def _wash(place: Desk, job: joblog.Job, values: dict[str, Any]) -> Entry:
    """The surface was washed, abraded, or both.

    Example: curewatch job wash --action both
    """
    layup = telling.layup_of(job, values.get("layup"))
    action = "wash and abrade" if values["action"] == "both" else values["action"]
    return Entry(Kind.WASH, values | {"layup": layup, "action": action}, place.happened, job=job.name)


@simple(Kind.QUALITY, "quality")
def _quality(place: Desk, job: joblog.Job, values: dict[str, Any]) -> Entry:
    """A quality check: Barcol reading, coin tap, or a peel coupon's load and lever arm.

    Example: curewatch job quality --check "peel coupon" --load "2 kg" --arm 120 --passed passed
    """
    layup = telling.layup_of(job, values.get("layup"))
    measured = values | {"layup": layup, "passed": values.get("passed")} | quality.measured(values)
    return Entry(Kind.QUALITY, measured, place.happened, job=job.name)


@simple(Kind.NOTE, "note")
def _note(place: Desk, job: joblog.Job, values: dict[str, Any]) -> Entry:
    """A note in free words.

    Example: curewatch job note --text "fillets made before the first layer"
    """
    return Entry(Kind.NOTE, values, place.happened, job=job.name)


@app.command()
def photo(
    file: Annotated[Path, typer.Argument(help="JPEG, PNG, WebP or TIFF; it stays where it is.")],
    *,
    text: Annotated[str | None, typer.Option("--text", help="What it shows.")] = None,
    by: ByOption = None,
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
    from curewatch.joblog import photo as photographs

    payload = photographs.payload(file)
    with desk(config, units, ago, at) as place:
        found = joblog.current(place.logbook, job)
        last = found.last(Kind.PHOTO) or found.opened
        who = by or last.payload.get("by")
        payload |= {key: value for key, value in (("text", text), ("by", who)) if value}
        stored = place.entry(Entry(Kind.PHOTO, payload, place.happened, job=found.name))
        said(place, stored, f"photo {payload['file']}, sha256 {payload['sha256'][:16]}...", json)


@app.command()
def correct(
    number: Annotated[int, typer.Argument(help="The entry's number, as `job show` gives it.")],
    *,
    changes: Annotated[list[str], typer.Option("--set", metavar="KEY=VALUE", help="New value; repeatable.")],
    why: Annotated[str, typer.Option("--why", help="Why; it stands in the record.")],
    by: ByOption = None,
    job: JobOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Correct an earlier entry: a new entry that names it. Both stay in the record.

    Example: curewatch job correct 2 --set resin_lot="demo lot 8" --why "read the wrong tin"
    """
    if not why.strip():
        raise UsageError("--why is empty; say why the entry is corrected")
    with desk(config, units) as place:
        found = joblog.current(place.logbook, job)
        before = next((item for item in found.told if item.number == number), None)
        values = _changes(before, changes, place)
        stored = place.entry(telling.correction(found, number, values, why, at=place.now, by=by))
        earlier = None if before is None else before.entry
        text = "; ".join(changed(earlier, values, place.words, place.now))
        said(place, stored, f"entry {number} corrected: {text}", json)


def _changes(before: joblog.Told | None, changes: list[str], place: Desk) -> dict[str, Any]:
    """New values by key, each read as the form of that entry reads it."""
    kind = before.kind if before else ""
    fields = {field.key: field.read for field in FORMS.get(kind, ())}
    fields["at"] = lambda text, option: moment_from_text(
        text, place.configuration.zone, place.now, ahead=False, option=option
    )
    values = {}
    for change in changes:
        key, equals, text = change.partition("=")
        if not equals or key.strip() not in fields:
            raise UsageError(f"--set {change!r}; allowed keys: {', '.join(fields)}, each as KEY=VALUE")
        values[key.strip()] = fields[key.strip()](text, f"--set {key.strip()}")
    return values | _following(before, values, place)


def _following(before: joblog.Told | None, values: dict[str, Any], place: Desk) -> dict[str, Any]:
    """What hangs on the corrected keys and must not stay as it was: a start, a ratio, a moment."""
    if before is None:
        return {}
    now = dict(before.payload) | values
    if before.kind == Kind.LAYUP and "at" in values:
        return {"started": values["at"]}  # a layer counts down from when it was mixed
    if before.kind == Kind.BATCH and values.keys() & {"resin_mass", "hardener_mass", "system"}:
        system = load_system(now["system"], folder=place.configuration.resin.folder)
        ratio, advised = telling.proportions(
            system, now["resin_mass"], now["hardener_mass"], scale_step=now.get("scale_step", 0.001)
        )
        if not ratio["within"]:
            note(f"ratio outside its tolerance: {ratio['text']}. {place.words.say(advised)}")
        return {"ratio": ratio}
    if before.kind == Kind.QUALITY and values.keys() & {"check", "load", "arm"}:
        return {"value": None, "unit": None} | quality.measured(now)
    return {}


@app.command("list")
def list_(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """The jobs of this logbook, the open ones first.

    Example: curewatch job list
    """
    with desk(config, units) as place:
        jobs = [joblog.read(place.logbook, name) for name in joblog.names(place.logbook)]
        jobs.sort(key=lambda job: job.closed is not None)
        if json:
            print_json([_plain_job(job) for job in jobs])
            return
        say(*listed(jobs, place.words, place.now))


@app.command()
def show(
    name: Annotated[str | None, typer.Argument(help="The job; else the one that is open.")] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Everything that was told of a job, in order, with corrections shown.

    Example: curewatch job show
    """
    with desk(config, units) as place:
        job = joblog.current(place.logbook, name)
        if json:
            entries = [
                plain_entry(told.entry) | {"holds_now": dict(told.payload)} | _corrected(told)
                for told in job.told
            ]
            print_json(_plain_job(job) | {"entries": entries})
            return
        say(*job_lines(job, place.words, place.now))


def _corrected(told: joblog.Told) -> dict[str, Any]:
    return {"corrected_by": [one.number for one in told.corrections]}


def _plain_job(job: joblog.Job) -> dict[str, Any]:
    return {
        "job": job.name,
        "title": job.title,
        "opened": iso_utc(job.opened.at),
        "closed": None if job.closed is None else iso_utc(job.closed.at),
        "running": list(job.running),
    }


@app.command()
@_form(Kind.JOB_CLOSE)
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
    with desk(config, units) as place:
        found = joblog.current(place.logbook, job)
        if found.closed is not None:
            raise UsageError(f"job {found.name} was closed already, entry {found.closed.number}")
        values = _fields(Kind.JOB_CLOSE, found, given)
        if found.running:
            note(f"still counting down in this job: {', '.join(found.running)}")
        closing = Entry(Kind.JOB_CLOSE, {"job": found.name, **values}, place.now, job=found.name)
        stored = place.entry(closing)
        seal = sealing.seal(place.logbook, why="job-close", at=place.now, job=found.name)
        if json:
            print_json(plain_entry(stored) | {"seal_code": seal.code})
            return
        said(place, stored, f"job {found.name} closed", json=False)
        say(f"Seal code: {seal.code}")
        say("Write it on the job card or send it to somebody: later it proves that nothing changed.")
