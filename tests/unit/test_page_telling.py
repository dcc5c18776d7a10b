"""What a phone tells is written once, by the terminal's own functions; what is drawn for it is text."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import icalendar
import msgspec
import pytest

from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import Happening, Key
from curewatch.answers.deadlines import DEADLINES
from curewatch.answers.document import plain
from curewatch.answers.gathering import gather
from curewatch.answers.page import PageToldDocument
from curewatch.clock import iso_utc
from curewatch.errors import UsageError
from curewatch.logbook import Entry, Logbook
from curewatch.page import calendar, telling
from curewatch.page.drawing.here import KEYS
from curewatch.page.drawing.markup import Markup, tag
from curewatch.page.drawing.whole import reason, sections
from curewatch.page.requests import Told
from curewatch.page.telling import PhonePlace
from curewatch.wording import Wording
from curewatch.worklog import opening
from curewatch.worklog import telling as bench
from tests.documents import PACKAGE
from tests.page_world import past

NOW = 1_795_000_000.0
ONCE = "0123456789abcdef"
HOSTILE = '<img src=x onerror="pwned=1">"\'><script>pwned=1</script> \u202eevil\x1b[31m'
SETTINGS = """
[shed]
name = "the shed"
[resin]
name = "epoxy-slow"
batch_mass_g = 150.0
[sensors.bench]
role = "air"
[sensors.hull]
role = "surface"
"""


@pytest.fixture
def place(tmp_path: Path) -> Iterator[PhonePlace]:
    with Logbook(tmp_path / "shed.sqlite") as logbook:
        logbook.append(past(NOW, 6 * 3600.0))
        for title in ("new rudder cheek", HOSTILE):
            opened = {"title": title, "resin": "epoxy-slow"}
            logbook.write(bench.opening(logbook, opened, NOW - 3600))
        yield PhonePlace(logbook, configuration.parse(SETTINGS), Wording(), NOW)


def told(place: PhonePlace, **body: Any) -> dict[str, Any]:
    """As it comes over the wire, without what is null."""
    return present(telling.tell(place, msgspec.convert({"job": "J1", "part": "cheek"} | body, Told)))


def present(document: PageToldDocument) -> dict[str, Any]:
    return {key: value for key, value in plain(document).items() if value is not None}


def kinds(place: PhonePlace) -> list[str]:
    return [each.kind for each in place.logbook.entries(job="J1") if each.kind != "job-open"]


def test_a_press_that_is_sent_again_is_written_once(place: PhonePlace) -> None:
    """The answer was lost, not the press: the same number, the same time to undo. Another is another."""
    press = {"do": "press", "key": "mixed", "id": ONCE}
    first, later = told(place, **press), place._replace(now=NOW + 20.0)
    again = told(later, **press)
    assert again["number"] == first["number"]
    assert again["undo_s"] == first["undo_s"] - 20
    assert told(later, do="recall", id=ONCE)["number"] == first["number"]
    assert told(later, do="recall", id="f" * 16) == {"said": "It was not written. Press again."}
    laid = {"do": "press", "key": "laid", "id": "1" * 16}
    assert told(place, **laid)["number"] == told(later, **laid)["number"]  # not: no batch is mixed
    assert kinds(place) == ["batch", "layer"]
    told(place, **press | {"id": "2" * 16})
    assert kinds(place) == ["batch", "layer", "batch"]


def test_what_is_not_expected_is_asked_and_kept_only_if_sure(place: PhonePlace) -> None:
    """The terminal's question; nothing is written until it is answered."""
    press = {"do": "press", "key": "laid", "id": ONCE}
    assert told(place, **press) == {"question": "no batch is mixed that was not laid yet"}
    assert kinds(place) == []
    assert "number" in told(place, **press, sure=True)
    with pytest.raises(UsageError, match="part: found 0 characters"):
        told(place, **press, part="  ")
    with pytest.raises(UsageError, match="there is no job"):
        told(place, **press, job="J9")


def test_only_a_press_of_this_job_within_a_minute_is_undone(place: PhonePlace) -> None:
    """Twice is refused, and so are another job's press, what no key wrote, and what is older."""
    number = told(place, do="press", key="mixed", id=ONCE)["number"]
    opened = place.logbook.entries("job-open")[0].number
    for where, wrong in ((place, {"number": opened}), (place, {"number": number, "job": "J2"})):
        with pytest.raises(UsageError):
            told(where, do="undo", **wrong)
    with pytest.raises(UsageError, match="within the last minute"):
        told(place._replace(now=NOW + 61.0), do="undo", number=number)
    assert "undone" in told(place, do="undo", number=number)["said"]
    with pytest.raises(UsageError):
        told(place, do="undo", number=number)
    assert kinds(place) == ["batch", "correction"]
    (job,) = [each for each in telling.jobs(place) if each.job == "J1"]
    assert job.told[0].text.endswith("batch B1 (undone)")


def test_an_alert_is_acknowledged_once(place: PhonePlace) -> None:
    """Two phones press; the second finds it done. A number of no alert does nothing."""
    event = alerts.Event(Happening.RAISED, Key(alerts.AlertKind.CONDENSATION), NOW, "the hull may sweat", "")
    place.logbook.append(entries=[Entry("alert", alerts.event_as_plain(event, Wording()), NOW)])
    (number,) = telling.numbers(place.logbook).values()
    body: dict[str, Any] = {"do": "acknowledge", "numbers": [number, number, 999]}
    said = [telling.tell(place, msgspec.convert(body, Told)).said for _ in range(2)]
    assert said == ["acknowledged", "acknowledged already, or over"]
    happened = [each.payload["happening"] for each in place.logbook.entries("alert")]
    assert happened == ["raised", "acknowledged"]


class _Elements(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.attributes: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.attributes |= {name for name, _ in attrs}


@pytest.mark.long
def test_no_text_from_outside_becomes_an_element(place: PhonePlace) -> None:
    """Every text of the documents made hostile: only our elements come; unescaped, others would."""
    told(place, do="press", key="mixed", id=ONCE)
    told(place, do="press", key="laid", id="1" * 16)
    state = gather(place.logbook, place.configuration, NOW)
    drawn = sections(_poisoned(state), None, {}, Wording(), NOW, writes=True)
    clean = sections(state, None, {}, Wording(), NOW, writes=True)
    for name, text in drawn.items():
        found = _Elements(text)
        assert found.names <= _Elements(clean[name]).names | {"li", "ul", "p"}, name
        assert not {each for each in found.attributes if each.startswith("on")}
        assert "\u202e" not in text
        assert "\x1b" not in text
    assert "&lt;img" in "".join(drawn.values())
    assert "img" in _Elements(tag("p", Markup(HOSTILE))).names  # the control
    assert Wording().say(reason(state), NOW)


def _poisoned(value: Any) -> Any:
    """The same document, its free texts hostile: those that sensors and people write."""
    if isinstance(value, msgspec.Struct):
        free = {
            "layer",
            "part",
            "resin",
            "job",
            "headline",
            "text",
            "sensor",
            "shed",
            "boat",
            "title",
            "note",
        }
        free |= {"words", "rejected", "reason", "stage"}
        changed = {}
        for name in value.__struct_fields__:
            one = getattr(value, name)
            changed[name] = HOSTILE if isinstance(one, str) and name in free else _poisoned(one)
        return msgspec.structs.replace(value, **changed)
    if isinstance(value, list):
        return [_poisoned(each) for each in value]
    return value


@pytest.mark.long
def test_an_event_keeps_its_uid_when_its_time_moves(place: PhonePlace) -> None:
    """The feed before and after a deadline moved by an hour; another layer is another event."""
    told(place, do="press", key="mixed", id=ONCE)
    told(place, do="press", key="laid", id="1" * 16)
    state = gather(place.logbook, place.configuration, NOW)

    def events(of: Any, **defect: str) -> dict[str, Any]:
        found = calendar.appointments(of, None, Wording())
        answer = calendar.answer((msgspec.structs.replace(each, **defect) for each in found), NOW)
        read = icalendar.Calendar.from_ical(answer["body"])
        return {str(each["UID"]): each["DTSTART"].dt for each in read.walk("VEVENT")}

    before = events(state)
    layer = state.running[0]
    assert len(before) == len([each for each in layer.timeline if each.name in DEADLINES and each.likely])
    later = [
        msgspec.structs.replace(
            each, likely=iso_utc(NOW + 9e4), early=iso_utc(NOW + 8e4), late=iso_utc(NOW + 1e5)
        )
        for each in layer.timeline
    ]
    moved = msgspec.structs.replace(state, running=[msgspec.structs.replace(layer, timeline=later)])
    after = events(moved)
    assert set(after) == set(before)
    assert all(after[uid] != at for uid, at in before.items())
    assert not set(events(moved, identity="")) & set(events(state, identity=""))  # the control
    other = msgspec.structs.replace(layer, layer="L2")
    assert not set(events(msgspec.structs.replace(state, running=[other]))) & set(before)


def test_what_a_key_does_is_said_by_its_key() -> None:
    """Each sentence that is reworded for the page stands in the advice: none is left behind."""
    advice = "\n".join(each.read_text() for each in Path(PACKAGE, "curewatch", "advice").rglob("*.py"))
    for typed, _ in KEYS:
        begin = typed.split("(?:")[0].replace("\\", "")
        assert begin in advice, begin


def test_a_job_is_opened_as_on_the_terminal(place: PhonePlace) -> None:
    """Its questions, what holds unsaid, its refusals; sent again it is one; a taken name is passed over."""

    def opens(id_: str = ONCE, **answers: str) -> dict[str, Any]:
        body = {"do": "open", "id": id_, "answers": answers}
        return present(telling.tell(place, msgspec.convert(body, Told)))

    asked = {each.key: each for each in telling.questions(place)}
    assert [key for key, each in asked.items() if each.needed] == ["title"]
    assert asked["resin"].usual == "epoxy-slow"
    for answers, refusal in (
        ({"title": "  "}, "What is done, e.g. new rudder cheek: found nothing written"),
        ({"title": "tiller", "resin": "porridge"}, "porridge"),
        ({"title": "tiller", "thickness": "5 m"}, "Thickness of the substrate in mm: found '5 m'"),
        ({"title": "tiller", "substrate": "jelly"}, "Substrate: found 'jelly'"),
        ({"title": "tiller", "zone": "UTC"}, "answers: found 'zone'. Use title"),
        ({"title": "x" * 2001}, "length <= 2000"),
    ):
        with pytest.raises((UsageError, msgspec.ValidationError), match=re.escape(refusal)):
            opens(**answers)
    recall = {"do": "recall", "job": "", "part": "", "id": ONCE}
    assert told(place, **recall) == {"said": "No job was opened. Press again."}
    place.logbook.write(bench.opening(place.logbook, {"title": "taken", "resin": "epoxy-slow"}, NOW, "J4"))
    answers = {"title": HOSTILE, "thickness": "6", "by": "-"}
    first = opens(**answers)
    assert first["job"] == "J5"
    assert opens(**answers) == first
    assert told(place, **recall) == first
    (stored,) = place.logbook.entries(job="J5")
    assert stored.payload["thickness"] == pytest.approx(0.006)
    assert stored.payload["resin"] == "epoxy-slow"
    assert "by" not in stored.payload
    assert opens("f" * 16, **answers)["job"] == "J6"


def test_two_that_open_a_job_at_once_get_two_names(
    place: PhonePlace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A phone and a terminal that both saw the same free name: neither title is lost."""
    seen, raced = place.logbook.entries, list[Any]()

    def opened(title: str) -> Any:
        return opening.open_job(place.logbook, place.configuration, {"title": title}, happened=NOW, now=NOW)

    def entries(*kinds: Any, **more: Any) -> Any:
        found = seen(*kinds, **more)
        if not raced:
            raced.append(None)  # what the other opens does not race itself
            raced.append(opened("of the terminal"))
        return found

    monkeypatch.setattr(place.logbook, "entries", entries)
    mine = opened("of the phone")
    told = {each.job: each.payload["title"] for each in (raced[1], mine)}
    assert told == {"J3": "of the terminal", "J4": "of the phone"}
