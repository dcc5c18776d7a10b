"""The calendar feed: windows to come and deadlines of running layers, for a calendar that asks for it."""

from collections.abc import Iterable, Iterator
from typing import Any

from msgspec.structs import replace

from curewatch.advice.plan.calendar import Appointment, write
from curewatch.answers.deadlines import DEADLINES, named
from curewatch.answers.document import moment
from curewatch.answers.layer import RunningLayerDocument
from curewatch.answers.watch import WatchDocument
from curewatch.answers.windows import WindowsDocument
from curewatch.clock import utc_from_iso
from curewatch.wording import Wording

WINDOWS = 4  # in the feed
REMINDERS = {"laminate-before": (60, 10), "laminate-from": (0,)}  # minutes ahead


def answer(found: Iterable[Appointment], now: float) -> dict[str, Any]:
    """As iCalendar: status, body and its kind. [UTC s]"""
    body = write(found, now, every=15).encode()
    return {"status": 200, "body": body, "kind": "text/calendar; charset=utf-8"}


def appointments(
    state: WatchDocument, coming: WindowsDocument | None, words: Wording, shed: str = ""
) -> list[Appointment]:
    """The same event keeps its identity when its time moves; of several sheds each has its name."""
    found = [*_windows(coming, words), *(each for layer in state.running for each in _deadlines(layer))]
    if not shed:
        return found
    return [
        replace(each, summary=f"{shed}: {each.summary}", identity=f"{shed} {each.identity}") for each in found
    ]


def _windows(coming: WindowsDocument | None, words: Wording) -> Iterator[Appointment]:
    """By their order: the next window stays the next window, whenever it begins."""
    if coming is None or not coming.resins:
        return
    one = coming.resins[0]
    for number, window in enumerate(one.windows[:WINDOWS], 1):
        start, end, best = (utc_from_iso(each) for each in (window.start, window.end, window.best))
        chance = words.chance(window.probability)
        told = f"Best start {words.time(best)}, {chance}. Ask again before you mix."
        name = f"window {number} {one.resin}"
        yield Appointment(f"Layup window, {one.resin}", start, max(end, start + 900), told, (60,), name)


def _deadlines(layer: RunningLayerDocument) -> Iterator[Appointment]:
    for each in layer.timeline:
        said, end = DEADLINES.get(each.name, ("", "likely"))
        due = moment(getattr(each, end))
        if said and due is not None:
            name = f"{each.name} {layer.job} {layer.layer} {layer.started}"
            text = f"{named(layer)}: {said.removesuffix(' from').removesuffix(' by')}"
            yield Appointment(text, due, None, each.note, REMINDERS.get(each.name, ()), name)
