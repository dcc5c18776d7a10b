"""``curewatch job``: the job log at the bench. Each form asks what is missing; nothing is ever edited."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from curewatch import joblog
from curewatch.cli.forms import Field, at_terminal, fill, with_fields
from curewatch.cli.job_forms import FORMS
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.job import job_lines, listed
from curewatch.cli.terminal import note, print_json
from curewatch.cli.typed import moment_from_text, span_from_text
from curewatch.cli.wording import Wording
from curewatch.clock import SystemClock, iso_utc
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import ExitStatus, UsageError
from curewatch.joblog import quality, telling
from curewatch.logbook import Entry, Kind, Logbook, Stored, sealing
from curewatch.materials import load_system

app = typer.Typer(help="The job log: open, batches, peel ply, wash, checks, notes, photos, close.")

JobOption = Annotated[str | None, typer.Option("--job", help="Which job; else the one that is open.")]
AgoOption = Annotated[str | None, typer.Option("--ago", metavar="SPAN", help="It was so long ago: 20 min.")]
AtOption = Annotated[
    str | None, typer.Option("--at", metavar="TIME", help="It was at this time: 21:40, the shed's time.")
]
ByOption = Annotated[str | None, typer.Option("--by", help="Who.")]


@dataclass(frozen=True, slots=True)
class Desk:
    """What every form needs: where to write, how to speak, what time it is."""

    logbook: Logbook
    configuration: Configuration
    words: Wording
    now: float
    happened: float
    afterwards: bool

    def entry(self, entry: Entry) -> Stored:
        """Write an entry with when it happened, when it was told, and whether those differ."""
        marked = dict(entry.payload) | ({"given_afterwards": True} if self.afterwards else {})
        return self.logbook.write(
            Entry(entry.kind, marked, entry.at, job=entry.job, key=entry.key, recorded=self.now)
        )


@contextmanager
def desk(
    config: Path | None, units: str | None = None, ago: str | None = None, at: str | None = None
) -> Iterator[Desk]:
    """The logbook open for writing, and the moment that is meant."""
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    if ago is not None and at is not None:
        raise UsageError("--ago and --at both say when; give one of them")
    happened = now
    if ago is not None:
        happened = now - span_from_text(ago)
    elif at is not None:
        happened = moment_from_text(at, configuration.zone, now, ahead=False)
    if happened > now + 1:
        raise UsageError(f"{at!r} is still to come; the job log takes what has happened")
    path = logbook_path(configuration)
    path.parent.mkdir(parents=True, exist_ok=True)
    with Logbook(path) as logbook:
        yield Desk(logbook, configuration, words, now, happened, happened != now)


def said(place: Desk, stored: Stored, text: str, json: bool) -> None:
    """Tell what was written down."""
    if json:
        print_json(_plain(stored))
        return
    when = place.words.moment(stored.at, place.now)
    told = " (told afterwards)" if stored.payload.get("given_afterwards") else ""
    print(f"{when}{told}  {safe_line(text)}  [job {safe_line(stored.job or '-')}, entry {stored.number}]")


def _plain(stored: Stored) -> dict[str, Any]:
    return {
        "number": stored.number,
        "kind": stored.kind,
        "job": stored.job,
        "at": iso_utc(stored.at),
        "recorded": iso_utc(stored.recorded),
        "payload": dict(stored.payload),
    }


def _fields(kind: str, job: joblog.Job, given: Mapping[str, str | None]) -> dict[str, Any]:
    """A form filled from options, the last entry of its kind in this job, and the person."""
    last = job.last(kind)
    before = dict(last.payload) if last else {}
    before.setdefault("by", job.opened.payload.get("by"))
    before.setdefault("system", job.opened.payload.get("system"))
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
    json: JsonOption = False,
) -> None:
    """Open a job: what is done, on what, with which resin.

    Example: curewatch job open --title "new rudder cheek" --by "the owner"
    """
    with desk(config, ago=ago, at=at) as place:
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
    json: JsonOption = False,
) -> None:
    """A cup was weighed and mixed: masses, lots; the ratio is held against its tolerance.

    Example: curewatch job batch --resin-mass "200 g" --hardener-mass "44 g" --resin-lot "demo lot 7"
    """
    if not 0 < scale <= 100:
        raise UsageError(f"--scale {scale:g}; allowed: above 0 to 100 g")
    with desk(config, ago=ago, at=at) as place:
        found = joblog.current(place.logbook, job)
        values = _fields(Kind.BATCH, found, given)
        name = values.setdefault("system", place.configuration.resin.system)
        system = load_system(name, folder=place.configuration.resin.folder)
        ratio, advised = telling.proportions(
            system, values["resin_mass"], values["hardener_mass"], scale_step=scale / 1000
        )
        if not ratio["within"]:
            note(f"ratio outside its tolerance: {ratio['text']}. {advised}")
            if not anyway:
                note("nothing was written down; put it right, or add --anyway to record it as it was")
                raise typer.Exit(int(ExitStatus.FAILURE))
        stored = place.entry(telling.batch(found, values | {"ratio": ratio}, place.happened))
        mixed = place.words.mass(values["resin_mass"] + values["hardener_mass"])
        lots = ", ".join(f"{key.replace('_', ' ')} {values[key]}" for key in _LOTS if key in values)
        said(
            place,
            stored,
            f"{stored.payload['batch']}: {mixed}, {ratio['text']}; {lots or 'no lot named'}",
            json,
        )


_LOTS = ("resin_lot", "hardener_lot")


def _about_layup(kind: str, place: Desk, job: str | None, given: Mapping[str, str | None]) -> Entry:
    found = joblog.current(place.logbook, job)
    values = _fields(kind, found, given)
    values["layup"] = telling.layup_of(found, values.get("layup"))
    return Entry(kind, values, place.happened, job=found.name)


@app.command("peel-ply")
@_form(Kind.PEEL_PLY)
def peel_ply(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Peel ply went on, or came off.

    Example: curewatch job peel-ply --action on
    """
    with desk(config, ago=ago, at=at) as place:
        stored = place.entry(_about_layup(Kind.PEEL_PLY, place, job, given))
        said(place, stored, f"{stored.payload['layup']}: peel ply {stored.payload['action']}", json)
        if stored.payload["action"] == "off" and not json:
            print("Abrade before the next layer if it was on for days: the bond is weaker otherwise.")


@app.command()
@_form(Kind.WASH)
def wash(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """The surface was washed, abraded, or both.

    Example: curewatch job wash --action both
    """
    with desk(config, ago=ago, at=at) as place:
        entry = _about_layup(Kind.WASH, place, job, given)
        if entry.payload["action"] == "both":
            entry = Entry(entry.kind, {**entry.payload, "action": "wash and abrade"}, entry.at, job=entry.job)
        stored = place.entry(entry)
        said(place, stored, f"{stored.payload['layup']}: {stored.payload['action']}", json)


@app.command("quality")
@_form(Kind.QUALITY)
def quality_(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A quality check: Barcol reading, coin tap, or a peel coupon's load and lever arm.

    Example: curewatch job quality --check "peel coupon" --load "2 kg" --arm 120 --passed passed
    """
    with desk(config, ago=ago, at=at) as place:
        entry = _about_layup(Kind.QUALITY, place, job, given)
        stored = place.entry(
            Entry(entry.kind, {**entry.payload, **_measured(entry.payload)}, entry.at, job=entry.job)
        )
        value = stored.payload.get("value")
        shown = "" if value is None else f" {value:.3g} {stored.payload.get('unit', '')}".rstrip()
        passed = {True: ", passed", False: ", failed"}.get(stored.payload["passed"], ", not judged")
        said(place, stored, f"{stored.payload['layup']}: {stored.payload['check']}{shown}{passed}", json)


def _measured(payload: Mapping[str, Any]) -> dict[str, Any]:
    """What the check measured, with its unit."""
    passed = {"passed": payload.get("passed")}
    match payload["check"]:
        case "barcol":
            if "value" not in payload:
                raise UsageError("a Barcol check needs its reading: --value 35")
            return passed | {"value": quality.barcol(payload["value"]), "unit": "Barcol"}
        case "peel coupon":
            if "load" not in payload or "arm" not in payload:
                raise UsageError("a peel coupon needs --load (e.g. 2 kg) and --arm (mm)")
            return passed | {"value": quality.peeling_moment(payload["load"], payload["arm"]), "unit": "N m"}
        case _:
            return passed


@app.command("note")
@_form(Kind.NOTE)
def note_(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A note in free words.

    Example: curewatch job note --text "fillets made before the first layer"
    """
    with desk(config, ago=ago, at=at) as place:
        found = joblog.current(place.logbook, job)
        values = _fields(Kind.NOTE, found, given)
        stored = place.entry(Entry(Kind.NOTE, values, place.happened, job=found.name))
        said(place, stored, str(stored.payload["text"]), json)


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
    json: JsonOption = False,
) -> None:
    """A photograph by file: its name, hash and a thumbnail are kept, the file is not moved.

    Example: curewatch job photo scarf.jpg --text "scarf ground 12:1"
    """
    from curewatch.joblog import photo as photographs

    payload = photographs.payload(file)
    payload |= {key: value for key, value in (("text", text), ("by", by)) if value}
    with desk(config, ago=ago, at=at) as place:
        found = joblog.current(place.logbook, job)
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
    json: JsonOption = False,
) -> None:
    """Correct an earlier entry: a new entry that names it. Both stay in the record.

    Example: curewatch job correct 2 --set resin_lot="demo lot 8" --why "read the wrong tin"
    """
    if not why.strip():
        raise UsageError("--why is empty; say why the entry is corrected")
    with desk(config) as place:
        found = joblog.current(place.logbook, job)
        before = next((item for item in found.told if item.number == number), None)
        values = _changes(before, changes, place)
        stored = place.entry(telling.correction(found, number, values, why, at=place.now, by=by))
        earlier = None if before is None else before.entry
        said(place, stored, f"entry {number} corrected: {'; '.join(telling.changed(earlier, values))}", json)


def _changes(before: joblog.Told | None, changes: list[str], place: Desk) -> dict[str, Any]:
    """New values by key, each read as the form of that entry reads it."""
    fields = {field.key: field.read for field in FORMS.get(before.kind if before else "", ())}
    fields["at"] = lambda text, option: moment_from_text(
        text, place.configuration.zone, place.now, ahead=False, option=option
    )
    values = {}
    for change in changes:
        key, equals, text = change.partition("=")
        if not equals or key.strip() not in fields:
            raise UsageError(f"--set {change!r}; allowed keys: {', '.join(fields)}, each as KEY=VALUE")
        values[key.strip()] = fields[key.strip()](text, f"--set {key.strip()}")
    return values


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
        for line in listed(jobs, place.words, place.now):
            print(line)


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
                _plain(told.entry) | {"holds_now": dict(told.payload)} | _corrected(told) for told in job.told
            ]
            print_json(_plain_job(job) | {"entries": entries})
            return
        for line in job_lines(job, place.words, place.now):
            print(line)


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
    json: JsonOption = False,
) -> None:
    """Close a job and seal the logbook; prints the seal code to write on the job card.

    Example: curewatch job close --outcome "ready to sand"
    """
    with desk(config) as place:
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
            print_json(_plain(stored) | {"seal_code": seal.code})
            return
        said(place, stored, f"job {found.name} closed", json=False)
        print(f"Seal code: {seal.code}")
        print("Write it on the job card or send it to somebody: later it proves that nothing changed.")
