"""What a phone tells: the keys of the bench by the very functions of the terminal's page of keys."""

from typing import NamedTuple

from curewatch import worklog
from curewatch.answers.document import sentence, sentence_or_none
from curewatch.answers.page import (
    PageJobDocument,
    PagePartDocument,
    PageQuestionDocument,
    PageToldDocument,
    page_told_document,
)
from curewatch.configuration import Configuration
from curewatch.errors import UsageError
from curewatch.jobs import PART_LONGEST
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry
from curewatch.page.requests import AcknowledgeAlerts, OpenJob, Press, Recall, Told, Undo
from curewatch.phrases import Said, phrase
from curewatch.safe_text import safe_line
from curewatch.shed import active_alerts
from curewatch.wording import Wording
from curewatch.worklog import keys, opening
from curewatch.worklog.job import CorrectedEntry
from curewatch.worklog.keys import BenchKey, BenchPlace, Pressed

JOBS, PARTS, TOLD = 9, 9, 5  # shown at most


class PhonePlace(NamedTuple):
    """Where and when a phone tells something."""

    logbook: LogbookStore
    configuration: Configuration
    words: Wording
    now: float  # UTC [s]

    def bench(self, job: str, part: str, once: str | None = None) -> BenchPlace:
        """The bench of one job and part."""
        return BenchPlace(self.logbook, self.configuration, self.words, self.now, job, part, once)


def tell(place: PhonePlace, told: Told) -> PageToldDocument:
    """What came of it: a line and what can be undone, or a question; CurewatchError where it is refused."""
    match told:
        case AcknowledgeAlerts(numbers=numbers):
            return page_told_document(_acknowledge(place, numbers))
        case Undo(job=job, part=part, number=number):
            bench = place.bench(job, part)
            return page_told_document(_said(place, keys.undo(bench, keys.recent(bench, number))))
        case Recall():
            return _recall(place, told)
        case OpenJob():
            return _open(place, told)
        case Press():
            return _press(place, told)


def _recall(place: PhonePlace, told: Recall) -> PageToldDocument:
    if not told.job:
        opened = _opened_before(place, told.id)
        if opened is None:
            return page_told_document("No job was opened. Press again.")
        return _opened(place, opened)
    pressed = keys.told_before(place.bench(told.job, told.part, f"page-{told.id}"))
    if pressed is None:
        return page_told_document("It was not written. Press again.")
    return _kept(place, pressed)


def questions(place: PhonePlace) -> list[PageQuestionDocument]:
    """What is asked when a job is opened, as on the terminal."""
    usual = opening.usual(place.configuration)
    return [
        PageQuestionDocument(
            key=each.key,
            question=each.question,
            usual=safe_line(each.say(usual[each.key], place.words)) if each.key in usual else "",
            needed=each.needed,
        )
        for each in opening.OPENING
        if each.asked
    ]


def _open(place: PhonePlace, told: OpenJob) -> PageToldDocument:
    """Opened once: the same answers that are sent again open no second job."""
    before = _opened_before(place, told.id)
    if before is not None:
        return _opened(place, before)
    asked = {each.key: each for each in opening.OPENING if each.asked}
    unknown = sorted(set(told.answers) - set(asked))
    if unknown:
        raise UsageError(f"answers: found {safe_line(unknown[0])!r}. Use {', '.join(asked)}")
    given = {key: text for key, text in told.answers.items() if text.strip() not in {"", "-"}}
    for key, field in asked.items():
        if field.needed and key not in given:
            raise UsageError(f"{field.question}: found nothing written. Use a few words")
    said = {key: asked[key].value(text, place.words, asked[key].question) for key, text in given.items()}
    said |= {"press": f"page-{told.id}"}
    now = place.now
    stored = opening.open_job(place.logbook, place.configuration, said, happened=now, now=now)
    return _opened(place, stored)


def _opened_before(place: PhonePlace, press: str) -> StoredEntry | None:
    told = place.logbook.entries(EntryKind.JOB_OPEN)
    return next((each for each in told if each.payload.get("press") == f"page-{press}"), None)


def _opened(place: PhonePlace, stored: StoredEntry) -> PageToldDocument:
    when = place.words.time(stored.at)
    said = f"{when} job {stored.job} opened: {stored.payload['title']}"
    return page_told_document(safe_line(said), job=stored.job)


def _press(place: PhonePlace, told: Press) -> PageToldDocument:
    part = " ".join(told.part.split())
    if not 1 <= len(part) <= PART_LONGEST:
        raise UsageError(f"part: found {len(part)} characters. Use 1 to {PART_LONGEST}")
    bench = place.bench(told.job, part, f"page-{told.id}")
    pressed = keys.press(bench, BenchKey(told.key), text=told.text, sure=told.sure)
    if pressed.asks:
        return page_told_document(question=safe_line(place.words.say(pressed.said, place.now)))
    return _kept(place, pressed)


def _kept(place: PhonePlace, pressed: Pressed) -> PageToldDocument:
    """The line, and for how long it can be undone."""
    left = max(0, int(keys.UNDO_FOR - (place.now - pressed.at)))
    return page_told_document(_said(place, pressed), number=pressed.number, undo_s=left)


def _said(place: PhonePlace, pressed: Pressed) -> str:
    return safe_line(f"{place.words.time(place.now)} {place.words.say(pressed.said, place.now)}")


def _acknowledge(place: PhonePlace, numbers: tuple[int, ...]) -> str:
    """One that is over by now needs no acknowledging: two phones may press at once."""
    stands = {each.number: each.alert for each in active_alerts.numbered(place.logbook)}
    found = [stands[number] for number in dict.fromkeys(numbers) if number in stands]
    waiting = [each for each in found if each.acknowledged is None]
    active_alerts.acknowledge(place.logbook, waiting, None, place.now, place.words)
    if not waiting:
        return "acknowledged already, or over"
    return "acknowledged" if len(waiting) == 1 else f"{len(waiting)} acknowledged"


def numbers(logbook: LogbookStore) -> dict[tuple[str, str], int]:
    """The number of each active alert, by kind and subject."""
    return {
        (each.alert.key.kind.value, each.alert.key.subject): each.number
        for each in active_alerts.numbered(logbook)
    }


def jobs(place: PhonePlace) -> list[PageJobDocument]:
    """The open jobs, the last opened first, with what the keys would speak of."""
    names = reversed(worklog.names(place.logbook, open_only=True))
    return [_job(place, name) for name in list(names)[:JOBS]]


def _job(place: PhonePlace, name: str) -> PageJobDocument:
    job = worklog.read(place.logbook, name)
    written = [each for each in job.told if each.kind in keys.WRITTEN]
    return PageJobDocument(
        job=name,
        title=safe_line(job.title),
        parts=[_part(place, name, part) for part in keys.parts(job)[:PARTS]],
        told=[sentence(_told(each), place.words, place.now) for each in written[: -TOLD - 1 : -1]],
    )


def _part(place: PhonePlace, job: str, part: str) -> PagePartDocument:
    layer = keys.newest(place.bench(job, part))
    said: Said = (
        "" if layer is None else phrase("{layer}, mixed {at:moment}", layer=layer.named, at=layer.started)
    )
    return PagePartDocument(part=part, layer=sentence_or_none(said, place.words, place.now))


def _told(entry: CorrectedEntry) -> Said:
    what = str(entry.payload.get("observed") or entry.kind).replace("-", " ")
    of = str(entry.payload.get("layer") or entry.payload.get("batch") or "")
    undone = " (undone)" if entry.payload.get("withdrawn") else ""
    return phrase("{at:moment} {what} {of}{undone}", at=entry.at, what=what, of=of, undone=undone)
