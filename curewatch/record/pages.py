"""The pages of a record as plain data: headings, paragraphs, tables, charts. Pure; no layout.

Both forms on paper and on screen are laid out from this one value, so they cannot say different
things. Every text from outside goes through ``words.shown``.
"""

import base64
import binascii
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from curewatch.advice import cautions
from curewatch.advice.rule_sets import Judged, Outcome
from curewatch.joblog import Told
from curewatch.logbook import Kind, Stored
from curewatch.record import charts
from curewatch.record.account import Account, Heard
from curewatch.record.layup import Course
from curewatch.record.words import Words, celsius, grams, of_limit, shown, span
from curewatch.units import MINUTE

MOST_ROWS = 400  # of one table on paper; all of it is in the attached files


class Table(NamedTuple):
    """Rows of text under headings; widths as shares."""

    head: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[tuple[str, ...], ...]


class Lead(NamedTuple):
    """A small heading with an outcome."""

    title: str
    outcome: str
    more: str


class Picture(NamedTuple):
    """A chart or a photograph: a file beside the pages."""

    file: str
    content: bytes
    alt: str
    caption: str


class Section(NamedTuple):
    """One heading and what stands under it: texts, tables and pictures in order."""

    heading: str
    blocks: tuple[str | Lead | Table | Picture, ...]


class Pages(NamedTuple):
    """A whole record."""

    title: str
    subject: str
    job: str
    code: str
    facts: tuple[tuple[str, str], ...]
    outcomes: tuple[tuple[str, str], ...]  # rule set, held | not held | not known
    sections: tuple[Section, ...]
    at: float  # when it was sealed, UTC [s]


def pages(account: Account) -> Pages:
    """The account as it is to be read."""
    words = _words(account)
    job = account.job
    return Pages(
        title="Cure record",
        subject=shown(job.title or job.name, 120),
        job=shown(job.name, 60),
        code=account.seal.code,
        facts=tuple(_facts(account, words)),
        outcomes=tuple((one.title, str(one.outcome)) for one in account.judgements),
        sections=tuple(section for section in _sections(account, words) if section.blocks),
        at=account.end,
    )


def _words(account: Account) -> Words:
    offsets = {Words(account.zone).full(at)[-5:] for at in (account.start, account.end)}
    return Words(account.zone, clocks_change=len(offsets) > 1)


def _sections(account: Account, words: Words) -> Iterator[Section]:
    yield Section("In short", tuple(_summary(account, words)))
    yield Section("What was done", tuple(_work(account, words)))
    yield Section("What the shed went through", tuple(_climate(account, words)))
    yield Section("How it cured", tuple(_cure(account, words)))
    yield Section("Limits and whether they held", tuple(_rules(account, words)))
    yield Section("Sensors", tuple(_sensors(account, words)))
    yield Section("Alerts, and what was done", tuple(_alerts(account, words)))
    yield Section("Gaps, clocks, refusals and corrections", tuple(_blemishes(account, words)))
    yield Section("Photographs", tuple(_photographs(account, words)))
    yield Section("Cautions, and what this record does not claim", tuple(_claims(account)))
    yield Section("How to check this record", tuple(_checking(account)))


def _facts(account: Account, words: Words) -> Iterator[tuple[str, str]]:
    opened = account.job.opened.payload
    shed = dict(account.setting.get("shed", {}))
    yield "Boat", shown(opened.get("boat") or shed.get("boat") or "–", 80)
    yield "Shed", shown(shed.get("name") or "–", 80)
    yield "Work", shown(opened.get("what") or "–", 300)
    yield "Resin system", shown(_system_title(account), 120)
    yield "Substrate", shown(_substrate(opened, shed), 80)
    yield "By", shown(", ".join(_people(account)) or "not said", 120)
    yield "Opened", words.full(account.start)
    yield ("Closed" if account.closed else "So far until"), words.full(account.end)
    yield "Times", f"{account.zone.key} local time" + (", with offset" if words.clocks_change else "")


def _system_title(account: Account) -> str:
    for course in account.courses:
        if course.system:
            return f"{course.system.title} ({course.system.name})"
    return str(account.job.opened.payload.get("system") or "–")


def _substrate(opened: Mapping[str, Any], shed: Mapping[str, Any]) -> str:
    name = opened.get("substrate") or shed.get("substrate") or "–"
    thickness = opened.get("thickness") or shed.get("thickness")
    return f"{name}, {thickness * 1000:g} mm" if isinstance(thickness, int | float) else str(name)


def _people(account: Account) -> list[str]:
    named = (str(one.payload["by"]) for one in account.job.told if one.payload.get("by"))
    return list(dict.fromkeys(named))


# -- in short -----------------------------------------------------------------------------------


def _summary(account: Account, words: Words) -> Iterator[str | Table]:
    inside = account.measured.time >= account.start
    total = int(inside.sum())
    unknown = int(np.isnan(account.measured.margin[inside]).sum())
    readings = sum(one.readings for one in account.heard)
    state = "The job is closed" if account.closed else "The job is still open; this is its record so far"
    yield (
        f"{state}. It lasted {span(account.end - account.start)}, with {len(account.courses)} layups and "
        f"{readings:,} readings of {sum(one.readings > 0 for one in account.heard)} sensors. "
        + (
            "The margin of the surface over the dew point is known for every minute of it."
            if not unknown and total
            else f"The margin of the surface over the dew point is known for {total - unknown:,} of "
            f"{total:,} minutes; for the other {unknown:,} this record says nothing."
        )
    )
    if account.measured.surface_estimated:
        yield "No probe was taped to the work: its temperature is estimated from the air and the substrate."
    late = sum(bool(one.payload.get("given_afterwards")) for one in account.job.told)
    if late:
        told = "1 entry was" if late == 1 else f"{late} entries were"
        yield f"{told} told afterwards: each says when."
    if account.disorder:
        yield "Stamps run backwards in places: see “Gaps, clocks, refusals and corrections”."


# -- what was done ------------------------------------------------------------------------------


def _work(account: Account, words: Words) -> Iterator[Table]:
    rows = [
        _told_row(told, words)
        for told in sorted(account.job.told, key=lambda one: one.at)
        if told.kind not in {Kind.SEAL, Kind.ALERT, Kind.CORRECTION}
    ]
    yield _table(("When", "What", "Who"), (17, 70, 13), rows)
    batches = [_batch_row(told, words) for told in account.job.of(Kind.BATCH)]
    if batches:
        head = ("Batch", "Mixed", "Resin lot", "Hardener lot", "Resin", "Hardener", "Ratio", "Pot at")
        yield _table(head, (7, 14, 12, 13, 9, 10, 26, 9), batches)


def _told_row(told: Told, words: Words) -> tuple[str, str, str]:
    marks = []
    if told.payload.get("given_afterwards") or told.entry.recorded - told.entry.at > 5 * MINUTE:
        marks.append(f"told {words.moment(told.entry.recorded)}")
    if told.corrections:
        marks.append("corrected by " + ", ".join(f"entry {one.number}" for one in told.corrections))
    text = _sentence(told.kind, told.payload)
    what = f"{text} ({'; '.join(marks)})" if marks else text
    return f"{words.moment(told.at)}", what, shown(told.payload.get("by") or "–", 40)


def _sentence(kind: str, payload: Mapping[str, Any]) -> str:
    """An entry in one sentence; a kind that is not known is shown as it is."""
    said = {
        Kind.JOB_OPEN: lambda: f"Job opened: {_of(payload, 'title')}",
        Kind.JOB_CLOSE: lambda: f"Job closed. {_of(payload, 'outcome')}",
        Kind.BATCH: lambda: (
            f"Batch {_of(payload, 'batch')} mixed: {grams(payload.get('resin_mass'))} resin, "
            f"{grams(payload.get('hardener_mass'))} hardener"
        ),
        Kind.LAYUP: lambda: _layup_sentence(payload),
        Kind.LAYUP_CLOSED: lambda: f"Layup {_of(payload, 'layup')} ended",
        Kind.PEEL_PLY: lambda: f"Peel ply {_of(payload, 'action')}, layup {_of(payload, 'layup')}",
        Kind.WASH: lambda: f"{_of(payload, 'action').capitalize()}, layup {_of(payload, 'layup')}",
        Kind.OBSERVATION: lambda: f"Seen on layup {_of(payload, 'layup')}: {_of(payload, 'seen')}",
        Kind.QUALITY: lambda: _quality_sentence(payload),
        Kind.NOTE: lambda: f"Note: {_of(payload, 'text')}",
        Kind.PHOTO: lambda: f"Photograph {_of(payload, 'file')}",
    }.get(kind)  # type: ignore[call-overload]
    if said is None:
        return shown(f"{kind}: {dict(payload)}", 300)
    text: str = said()
    more = "" if kind == Kind.NOTE else _of(payload, "text")
    return f"{text}. {more}" if more not in {"", "–"} else text


def _of(payload: Mapping[str, Any], key: str) -> str:
    value = payload.get(key)
    return "–" if value is None else shown(value)


def _layup_sentence(payload: Mapping[str, Any]) -> str:
    layers = payload.get("layers")
    parts = [f"Layup {_of(payload, 'layup')} begun"]
    if layers:
        parts.append(f"{shown(layers, 10)} layers of {shown(payload.get('cloth') or 'cloth', 60)}")
    if payload.get("batches"):
        parts.append("batches " + shown(", ".join(map(str, payload["batches"])), 120))
    parts.append(f"{_of(payload, 'system')}")
    return ", ".join(parts)


def _quality_sentence(payload: Mapping[str, Any]) -> str:
    value = payload.get("value")
    found = "" if value is None else f": {shown(value, 20)} {shown(payload.get('unit') or '', 20)}".rstrip()
    passed = {True: ", passed", False: ", not passed"}.get(payload.get("passed"), "")  # type: ignore[arg-type]
    return f"Check of layup {_of(payload, 'layup')}, {_of(payload, 'check')}{found}{passed}"


def _batch_row(told: Told, words: Words) -> tuple[str, ...]:
    payload = told.payload
    ratio = payload.get("ratio")
    text = "–" if not isinstance(ratio, Mapping) else shown(ratio.get("text") or "–", 80)
    if isinstance(ratio, Mapping) and ratio.get("within") is False:
        text = f"OUT OF TOLERANCE: {text}"
    pot = payload.get("pot_temperature")
    return (
        _of(payload, "batch"),
        words.moment(told.at),
        _of(payload, "resin_lot"),
        _of(payload, "hardener_lot"),
        grams(payload.get("resin_mass")),
        grams(payload.get("hardener_mass")),
        text,
        celsius(pot) if isinstance(pot, int | float) else "–",
    )


# -- what it went through -----------------------------------------------------------------------


def _climate(account: Account, words: Words) -> Iterator[str | Table | Picture]:
    measured = account.measured
    inside = measured.time >= account.start
    if not any(
        np.isfinite(column[inside]).any()
        for column in (measured.air_temperature, measured.surface_temperature)
    ):
        yield "No reading was recorded during this job. What the shed went through is not known."
        return
    yield Picture(
        "air.svg",
        charts.air(account).encode(),
        "Air, surface and dew point temperature over the job",
        "Air, surface and dew point. B and L mark batches and layups; shaded: from when the next layer could "
        "go on until it still bonded, by the model; grey: nothing was recorded.",
    )
    yield Picture(
        "margin.svg",
        charts.margin(account).encode(),
        "Margin of the surface over the dew point, with the error of the sensors",
        f"Margin of the surface over the dew point. Shaded: one standard deviation of the sensors, "
        f"{measured.margin_sd:.1f} K.",
    )
    rows = []
    for title, column, show in (
        ("Air", measured.air_temperature, celsius),
        (
            "Surface" + (" (estimated)" if measured.surface_estimated else ""),
            measured.surface_temperature,
            celsius,
        ),
        ("Dew point", measured.dew_point, celsius),
        ("Outside", measured.outside_temperature, celsius),
        ("Relative humidity", measured.relative_humidity, lambda value: f"{value * 100:.1f} %"),
        ("Margin over dew point", measured.margin, lambda value: f"{value:.1f} K"),
    ):
        value, time = column[inside], measured.time[inside]
        known = np.isfinite(value)
        if known.any():
            low, high = int(np.nanargmin(value)), int(np.nanargmax(value))
            rows.append(
                (
                    title,
                    show(float(value[low])),
                    words.moment(float(time[low])),
                    show(float(np.nanmean(value))),
                    show(float(value[high])),
                    words.moment(float(time[high])),
                    f"{int((~known).sum()):,}",
                )
            )
    head = ("", "Lowest", "at", "Mean", "Highest", "at", "Unknown, min")
    yield _table(head, (22, 12, 15, 12, 12, 15, 12), rows)


def _cure(account: Account, words: Words) -> Iterator[str | Table | Picture]:
    if not account.courses:
        yield "No layup was written down."
        return
    yield (
        "Reckoned from the recorded surface temperature with the resin system's cure law, from a slow to "
        "a fast lot (nine of ten lie between). It is a model, not a measurement of the laminate."
    )
    for number, course in enumerate(account.courses, 1):
        name = shown(course.layup, 20)
        if course.system is None:
            yield f"Layup {name}: its cure could not be reckoned: {shown(course.trouble, 200)}."
            continue
        yield Picture(
            f"cure-{number}.svg",
            charts.conversion(account, course).encode(),
            f"Conversion of layup {name} from a slow to a fast lot",
            f"Layup {name}: conversion, from a slow to a fast lot. Shaded: when the next layer could go on.",
        )
        yield Picture(
            f"glass-{number}.svg",
            charts.glass_transition(account, course).encode(),
            f"Glass transition and surface temperature of layup {name}",
            f"Layup {name}: glass transition, from a slow to a fast lot, against the surface's temperature.",
        )
        yield _marks(account, course, words)


def _marks(account: Account, course: Course, words: Words) -> Table:
    seen = {
        str(one.payload.get("seen")): words.moment(float(one.payload.get("at", one.at)))
        for one in account.job.of(Kind.OBSERVATION)
        if str(one.payload.get("layup")) == course.layup
    }
    called = {"gel": "gelled"}
    rows = [
        (
            name.capitalize(),
            words.moment(mark.likely),
            words.band(mark.early, mark.late),
            seen.get(called.get(name, name), "–"),
        )
        for name, mark in course.marks.items()
    ]
    low, usual, high = (float(each[-1]) for each in course.conversion)
    cold, middle, warm = (float(each[-1]) for each in course.glass_transition)
    rows.append(("Conversion at the end", f"{usual:.2f}", f"{low:.2f} to {high:.2f}", ""))
    rows.append(("Glass transition at the end", celsius(middle), f"{celsius(cold)} to {celsius(warm)}", ""))
    rows.append(("Amine blush, by the model", course.blush or "not known", "", ""))
    if course.closed_by:
        rows.append(("The window was closed by", course.closed_by, "", ""))
    if course.unmeasured:
        rows.append(("Not measured", f"{course.unmeasured} min", "bridged in a straight line", ""))
    return _table(
        (f"Layup {shown(course.layup, 20)}", "Likely", "Slow to fast lot", "Seen"), (28, 20, 36, 16), rows
    )


# -- rules --------------------------------------------------------------------------------------


def _rules(account: Account, words: Words) -> Iterator[str | Lead | Table]:
    if not account.judgements:
        yield "Nothing was laid up, so no rule has anything to say."
        return
    yield (
        "Judged minute by minute over the time each rule speaks of. “Not known” means that no breach was "
        "recorded, but that not every minute is known. “In doubt” counts minutes nearer to the limit "
        "than the sensors can tell."
    )
    for one in account.judgements:
        yield Lead(one.title, str(one.outcome), shown(one.source, 200))
        if one.rules:
            head = ("Rule", "Limit", "Outcome", "Out, min", "Unknown", "In doubt", "First breach", "Worst")
            rows = [_rule_row(rule, words) for rule in one.rules]
            yield _table(head, (26, 9, 10, 12, 9, 9, 12, 14), rows)


def _rule_row(rule: Judged, words: Words) -> tuple[str, ...]:
    worst = of_limit(rule.limit, rule.worst)
    if rule.worst_at is not None and rule.limit.quantity != "duration":
        worst = f"{worst}, {words.moment(rule.worst_at)}"
    broken = rule.outcome is Outcome.NOT_HELD
    return (
        f"{rule.rule} ({rule.limit.tag})",
        of_limit(rule.limit, rule.limit.value),
        str(rule.outcome),
        f"{rule.outside:,} of {rule.minutes:,}",
        f"{rule.unknown:,}",
        f"{rule.in_doubt:,}",
        words.moment(rule.first) if broken else "–",
        worst,
    )


# -- sensors, alerts, blemishes -----------------------------------------------------------------


def _sensors(account: Account, words: Words) -> Iterator[str | Table]:
    if not account.heard:
        yield "No sensor was configured."
        return
    head = (
        "Sensor",
        "Stands for",
        "Part, and its error (one standard deviation)",
        "Readings",
        "Silent",
        "Last check",
    )
    yield _table(head, (12, 11, 36, 11, 12, 18), [_sensor_row(one, words) for one in account.heard])


def _sensor_row(one: Heard, words: Words) -> tuple[str, ...]:
    part = one.post.part
    damp = "" if part.relative_humidity_sd is None else f", ± {part.relative_humidity_sd * 100:.1f} % RH"
    late = f", {one.late:,} late" if one.late else ""
    check = "none on record" if one.checked_at is None else _check(one, words)
    return (
        shown(one.post.name, 40),
        shown(one.post.role, 20),
        f"{shown(part.title, 60)}: ± {part.temperature_sd:.1f} K{damp}",
        f"{one.readings:,}{late}",
        f"{one.silent_minutes:,} min",
        check,
    )


def _check(one: Heard, words: Words) -> str:
    points = (one.check or {}).get("points") or ()
    told = ", ".join(
        f"{shown(point.get('salt', '?'), 12)} {_percent(point.get('found'))}"
        f" for {_percent(point.get('expected'))}"
        for point in points
        if isinstance(point, Mapping)
    )
    day = words.day(one.checked_at or 0.0)
    return f"{day}: {told}" if told else day


def _percent(value: object) -> str:
    return f"{value * 100:.1f} %" if isinstance(value, int | float) else "–"


def _alerts(account: Account, words: Words) -> Iterator[str | Table]:
    entries = [*(one.entry for one in account.job.of(Kind.ALERT)), *account.of_shed(Kind.ALERT)]
    rows = [
        (
            words.moment(one.at),
            _of(one.payload, "happening"),
            _of(one.payload, "alert")
            + (f", {_of(one.payload, 'subject')}" if one.payload.get("subject") else ""),
            _of(one.payload, "text"),
            shown(one.payload.get("advised") or "–"),
        )
        for one in sorted(entries, key=lambda entry: entry.at)
    ]
    if not rows:
        yield "No alert was raised."
        return
    yield _table(
        ("When", "Was", "Alert", "What was the matter", "What was advised"), (14, 12, 20, 29, 25), rows
    )
    yield "What was done about them stands in “What was done”, by its time."


_SHED_WORDS = {
    Kind.GAP: "gap",
    Kind.CLOCK: "clock",
    Kind.REJECTED: "refused",
    Kind.PRUNE: "removed by retention",
    "health": "sensor's state",
    "sensor": "sensor",
    "source": "source",
    "dropped": "dropped",
    "daemon": "program",
}


def _blemishes(account: Account, words: Words) -> Iterator[str | Table]:
    rows = [
        (words.moment(one.at), _SHED_WORDS[one.kind], _blemish(one, words))
        for one in account.shed
        if one.kind in _SHED_WORDS
    ]
    rows += [
        (
            words.moment(one.at),
            "clock",
            f"{shown(one.what, 60)}: {span(one.seconds)} before the line before it",
        )
        for one in account.disorder
    ]
    rows += [row for told in account.job.told for row in _correction_rows(told, words)]
    if not rows:
        yield "None was noticed."
        return
    yield _table(("When", "What", ""), (16, 16, 68), rows)


def _blemish(one: Stored, words: Words) -> str:
    payload = one.payload
    if one.kind == Kind.GAP:
        start, end = payload.get("start"), payload.get("end")
        if isinstance(start, int | float) and isinstance(end, int | float):
            return (
                f"{_of(payload, 'sensor')}: nothing from {words.moment(start)} to {words.moment(end)} "
                f"({span(end - start)}). {_of(payload, 'why')}"
            )
    if one.kind == Kind.REJECTED:
        counts = [count for count in payload.get("counts") or () if isinstance(count, Mapping)]
        return "; ".join(
            f"{shown(count.get('times', '?'), 12)} x {shown(count.get('reason', '?'), 60)}"
            + (f" ({shown(count['sensor'], 40)})" if count.get("sensor") else "")
            for count in counts[:12]
        )
    return shown(", ".join(f"{key}: {value}" for key, value in payload.items()), 300)


def _correction_rows(told: Told, words: Words) -> Iterator[tuple[str, str, str]]:
    for one in told.corrections:
        changes = one.payload.get("changes")
        told_changes = "; ".join(
            f"{key}: {told.entry.payload.get(key, 'nothing')} became {value}"
            for key, value in (changes.items() if isinstance(changes, Mapping) else ())
        )
        yield (
            words.moment(one.recorded),
            "correction",
            shown(f"of entry {told.number}: {told_changes}. {one.payload.get('why') or ''}", 400),
        )


def _photographs(account: Account, words: Words) -> Iterator[Picture]:
    for number, told in enumerate(account.job.of(Kind.PHOTO), 1):
        try:
            content = base64.b64decode(str(told.payload.get("thumbnail") or ""), validate=True)
        except (binascii.Error, ValueError):
            continue
        if content[:3] != b"\xff\xd8\xff":
            continue
        name = shown(told.payload.get("file") or "?", 60)
        caption = f"{name}, {words.moment(told.at)}. {shown(told.payload.get('text') or '', 200)}".rstrip()
        digest = shown(told.payload.get("sha256") or "", 64)
        yield Picture(f"photo-{number}.jpg", content, f"Photograph {name}", f"{caption} SHA-256 {digest}")


def _claims(account: Account) -> Iterator[str]:
    kinds = {course.system.kind for course in account.courses if course.system} or {"epoxy"}
    said = dict.fromkeys(line for kind in sorted(kinds) for line in cautions.for_layup(kind))
    yield " ".join(said)
    yield (
        "This record shows what sensors reported and what people wrote down, when, and that nothing of "
        "it was changed since it was sealed. It does not show that a sensor told the truth or stood "
        "where it should, that the work was done as written, or that the laminate is sound or strong "
        "enough. The times of cure are reckoned by a model of a generic resin unless the system was "
        "fitted to its sheet. Structural and classed work is for a surveyor or a licensed repairer to "
        "judge."
    )


def _checking(account: Account) -> Iterator[str | Table]:
    yield (
        "The files attached to this document hold every reading and entry with the chain of digests, the "
        "seal and the key. Save them into one folder and run “sh check.sh” there: it needs sha256sum and "
        "openssl, not this program. README.txt says each step. Compare the seal code below with the one "
        "that was written on the job card when the job was closed; a record made up afterwards cannot "
        "have it."
    )
    seal = account.seal
    rows: Iterable[Sequence[str]] = (
        ("Seal code", seal.code),
        ("Sealed", f"{seal.at}, {shown(seal.why, 20)}"),
        ("Block", f"{seal.block}"),
        ("Head", seal.head),
        ("Public key", seal.public_key),
    )
    yield _table(("", ""), (18, 82), rows)


def _table(head: Sequence[str], widths: Sequence[float], rows: Iterable[Sequence[str]]) -> Table:
    found = [tuple(row) for row in rows]
    if len(found) > MOST_ROWS:
        left = len(found) - MOST_ROWS
        found = [*found[:MOST_ROWS], ("…", f"{left:,} more in the attached files", *[""] * (len(head) - 2))]
    return Table(tuple(head), tuple(widths), tuple(found))
