"""One page of several sheds: all in a line, the worst first; each behind its own address."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import icalendar
import msgspec
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from curewatch import configuration
from curewatch.answers.page import PageLookDocument
from curewatch.clock import ManualClock, iso_utc
from curewatch.errors import CurewatchError
from curewatch.logbook import Logbook
from curewatch.page.requests import Told
from curewatch.page.several import SeveralAnswering
from curewatch.page.tokens import TokenKind
from curewatch.worklog import telling
from tests.page_server import PRESS, Page
from tests.page_world import past

NOW = 1_795_000_000.0
SETTINGS = """
[resin]
name = "epoxy-slow"
batch_mass_g = 150.0
[working_hours]
start = 00:00:00
end = 23:59:00
[logbook]
path = "{folder}/all.sqlite"
[sheds.creek]
name = "The creek"
[sheds.creek.sensors.bench]
role = "air"
[sheds.creek.sensors.hull]
role = "surface"
[sheds.quay]
[sheds.loft]
boat = "<b>Kittiwake</b>"
"""


@pytest.fixture
def several(tmp_path: Path) -> Iterator[SeveralAnswering]:
    """One warm shed, one without a reading, one whose logbook is none."""
    with Logbook(tmp_path / "creek.sqlite") as logbook:
        logbook.append(past(NOW, 6 * 3600.0))
        logbook.write(telling.opening(logbook, {"title": "cheek", "resin": "epoxy-slow"}, NOW - 60))
    (tmp_path / "loft.sqlite").write_text("rubbish " * 1000)
    found = configuration.parse(SETTINGS.format(folder=tmp_path))
    made = SeveralAnswering(found.each, ManualClock(NOW))
    yield made
    made.close()


def asked(several: SeveralAnswering, shed: str, do: str = "look", **more: Any) -> Any:
    answer = several.answer({"do": do, "shed": shed, "writes": True, **more})
    if do == "look":
        msgspec.json.decode(answer["body"], type=PageLookDocument)
    return json.loads(answer["body"]) if "json" in answer["kind"] else answer["body"].decode()


@pytest.mark.long
def test_all_sheds_stand_on_one_page_and_lead_into_each(several: SeveralAnswering, tmp_path: Path) -> None:
    """The worst first, its word above; one that cannot be looked at is unknown, and the others are told."""
    found = asked(several, "")
    assert found["verdict"] == "unknown"
    assert found["reason"] == "3 sheds: 2 unknown, 1 go."
    places = [found["sections"]["sheds"].index(f'href="/shed/{each}/"') for each in ("loft", "creek")]
    assert places == sorted(places)
    assert "rubbish" not in found["sections"]["sheds"]
    assert "&lt;b&gt;Kittiwake" in found["sections"]["sheds"]
    assert "<strong>GO creek</strong>" in found["sections"]["sheds"]
    own = asked(several, "creek")
    assert (own["verdict"], own["several"], own["jobs"][0]["job"]) == ("go", True, "J1")
    with pytest.raises(CurewatchError, match=r"loft"):
        asked(several, "loft")
    press = msgspec.convert(PRESS, Told)
    assert "B1 mixed" in asked(several, "creek", "tell", told=press)["said"]
    assert "no job" in asked(several, "quay", "tell", told=press)["rejected"]
    assert "Use the page of one" in asked(several, "", "tell", told=press)["rejected"]
    (tmp_path / "loft.sqlite").unlink()
    assert asked(several, "")["reason"] == "3 sheds: 2 unknown, 1 go."
    assert asked(several, "loft")["verdict"] == "unknown"  # opened anew, now that it can be


@pytest.mark.long
def test_calendar_and_metrics_are_of_all_sheds(several: SeveralAnswering) -> None:
    """Windows at the first question; the same name in two sheds is two events."""
    feed = icalendar.Calendar.from_ical(asked(several, "", "calendar"))
    events = {str(each["SUMMARY"]): str(each["UID"]) for each in feed.walk("VEVENT")}
    assert any(each.startswith("creek: Layup window") for each in events)
    own = icalendar.Calendar.from_ical(asked(several, "creek", "calendar"))
    assert {str(each["UID"]) for each in own.walk("VEVENT")}.isdisjoint(events.values())
    with pytest.raises(CurewatchError):
        asked(several, "", "metrics")  # as the command: what cannot be looked at is no zero


@pytest.mark.long
def test_the_address_names_the_shed(tmp_path: Path) -> None:
    """One server: a shed that there is not is no page, and nothing is told of all of them."""
    page = Page(tmp_path, '[sheds.north]\n[sheds."south-2"]\n')
    try:
        for path, status, shed in (
            ("/look", 200, ""),
            ("/shed/north/look", 200, "north"),
            ("/shed/south%2D2/look", 200, "south-2"),
            ("/shed/west/look", 404, None),
            ("/shed/north/", 200, None),
            ("/shed/north", 404, None),
            ("/shed/north/metrics", 200, "north"),
        ):
            before = len(page.process.asked)
            assert page.ask(path, TokenKind.VIEW)[0] == status, path
            assert [each["shed"] for each in page.process.asked[before:]] == [shed] * (shed is not None), path
        assert page.ask("/shed/north/")[0] == 403
        assert b"A code is needed" in page.ask("/shed/north/")[2]
        body = json.dumps(PRESS).encode()
        assert page.ask("/tell", TokenKind.WRITE, body)[0] == 404
        assert page.ask("/shed/west/tell", TokenKind.WRITE, body)[0] == 404
        assert page.ask("/shed/north/tell", TokenKind.VIEW, body)[0] == 403
        assert page.ask("/shed/north/tell", TokenKind.WRITE, body)[0] == 200
        assert page.process.asked[-1]["shed"] == "north"
    finally:
        page.server.stop()


def test_metrics_name_each_shed(tmp_path: Path) -> None:
    """A kept parser reads them."""
    for shed in ("creek", "quay"):
        with Logbook(tmp_path / f"{shed}.sqlite") as logbook:
            logbook.append(past(NOW, 3600.0))
    text = SETTINGS.format(folder=tmp_path).partition("[sheds.loft]")[0]
    several = SeveralAnswering(configuration.parse(text).each, ManualClock(NOW))
    families = text_string_to_metric_families(asked(several, "", "metrics"))
    samples = [sample for each in families if each.name == "curewatch_verdict" for sample in each.samples]
    assert {each.labels["shed"] for each in samples} == {"creek", "quay"}
    several.close()


@pytest.mark.long
def test_the_oldest_look_counts_and_a_broken_logbook_is_opened_anew(tmp_path: Path) -> None:
    """Of all sheds together the page is as old as the oldest; what failed once is not kept."""
    with Logbook(tmp_path / "creek.sqlite") as logbook:
        logbook.append(past(NOW, 3600.0))
    clock = ManualClock(NOW)
    text = SETTINGS.format(folder=tmp_path).partition("[sheds.loft]")[0]
    several = SeveralAnswering(configuration.parse(text).each, clock)
    asked(several, "creek")
    clock.advance(5.0)
    assert asked(several, "")["looked"] == iso_utc(NOW)
    (path := tmp_path / "quay.sqlite").unlink()
    several._open["quay"].close()  # as a disk that went away
    with pytest.raises(CurewatchError):
        asked(several, "quay", "metrics")
    assert asked(several, "quay")["verdict"] == "unknown"
    assert path.exists()
    several.close()
