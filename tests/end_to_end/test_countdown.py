"""Alerts of a layer in progress: at their minute, once, and the same after the program was killed."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event
from curewatch.clock import Instant
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Again, Show
from curewatch.daemon.replay import Replay
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.phrases import Phrase
from curewatch.readings import Reading
from curewatch.units import MINUTE

SETTINGS = configuration.parse('[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n')
START = 1_792_247_400.0
RECORDING = Path(__file__).parents[2] / "recordings" / "saltmarsh-evening.txt"
LAYER = Layer("L1", START + 10 * MINUTE, "epoxy-fast", 0.1)


def alert_events(logbook: Logbook) -> list[Event]:
    return [alerts.event_from_plain(entry.payload) for entry in logbook.entries("alert")]


def a_shed(folder: Path, layer: Layer, celsius: float) -> Logbook:
    """A shed in which a layer was laid soon after the readings began."""
    logbook = Logbook(folder / "logbook.sqlite")
    measured(logbook, celsius, layer.started)
    logbook.append(entries=[Entry("layer", layer_as_plain(layer), layer.started)])
    return logbook


def measured(logbook: Logbook, celsius: float, until: float) -> None:
    """Each minute from the last one kept until then: this temperature, give or take 0.1 K, and 50 %."""
    last = logbook.latest().get("bench")
    first = 0 if last is None else round((last.time - START) / MINUTE) + 1
    minutes = range(first, int((until - START) / MINUTE) + 1)
    moments = [(START + MINUTE * number, 0.1 * (number % 3 - 1)) for number in minutes]
    logbook.append(
        [
            Reading(name, at, at, celsius + 273.15 + off, 0.5 if name == "bench" else None)
            for at, off in moments
            for name in ("bench", "hull")
        ]
    )


@pytest.fixture
def warm_shed(tmp_path: Path) -> Iterator[Logbook]:
    """At 20 degC, both sensors, and a layer of the fast epoxy."""
    with a_shed(tmp_path, LAYER, 20.0) as logbook:
        yield logbook


def look(evaluation: Evaluation, logbook: Logbook, at: float, celsius: float = 20.0) -> float | None:
    """One look after what was measured until then, stored as the daemon would; when the next mark is."""
    measured(logbook, celsius, at)
    said = evaluation(Instant(at, at), "asked by a test")
    logbook.append(entries=[one for one in said if isinstance(one, Entry)])
    return next((one.at for one in said if isinstance(one, Again)), None)


def until_it_rings_and_is_seen(evaluation: Evaluation, logbook: Logbook) -> float:
    """Looks from mark to mark until an alert stands; somebody acknowledges it. When that was."""
    at = LAYER.started + MINUTE
    mark = look(evaluation, logbook, at)
    while not alert_events(logbook):
        assert mark is not None
        at = mark + 1.0
        mark = look(evaluation, logbook, at)
    were_active = alerts.rebuild(alert_events(logbook))
    _, seen = alerts.acknowledge(were_active, next(iter(were_active)), at + 1.0)
    logbook.append(entries=[Entry("alert", alerts.event_as_plain(event), event.at) for event in seen])
    return at


@pytest.mark.long
@pytest.mark.parametrize(
    ("resin", "celsius", "meanings"),
    [
        ("epoxy-fast", 20.0, ["short", "closing", "closed"]),  # it opens within the hour before it may close
        ("epoxy-slow", 15.0, ["open", "closing", "closed"]),
    ],
)
def test_each_look_names_the_minute_of_the_next_ring(
    tmp_path: Path, resin: str, celsius: float, meanings: list[str]
) -> None:
    """Going from mark to mark, each meaning of a window rings once, within two minutes of its moment."""
    layer, hours = Layer("L1", START + 10 * MINUTE, resin, 0.1), 20
    with a_shed(tmp_path, layer, celsius) as logbook:
        evaluation, at = Evaluation(SETTINGS, logbook), layer.started + MINUTE
        while at < START + (hours - 1) * 3600:
            mark = look(evaluation, logbook, at, celsius)
            if mark is None:
                break
            assert mark > at
            at = mark + 1.0
        rung = [one for one in alert_events(logbook) if one.key == (AlertKind.RECOAT_WINDOW, "L1")]
    assert [one.meaning for one in rung] == meanings
    *_, closing, closed = rung
    warned = rung[0] if "short" in meanings else closing
    assert warned.due is not None
    assert (warned.due - warned.at) / MINUTE == pytest.approx(60, abs=2)
    assert isinstance(closed.text, Phrase)
    closes = float(closed.text.numbers["closed"])
    assert 0 <= (closed.at - closes) / MINUTE <= 2
    if "open" in meanings:
        assert closing.at - rung[0].at > 5 * MINUTE


@pytest.mark.long
def test_a_killed_program_rings_nothing_twice_and_counts_on(warm_shed: Logbook) -> None:
    """What stood before stands after, acknowledged as it was; only what is new rings."""
    evaluation = Evaluation(SETTINGS, warm_shed)
    at = until_it_rings_and_is_seen(evaluation, warm_shed)
    before = alert_events(warm_shed)
    again = Evaluation(SETTINGS, warm_shed)  # a new program, nothing remembered but the logbook
    mark = look(again, warm_shed, at + 5.0)
    assert alert_events(warm_shed) == before
    assert mark is not None
    assert mark > at


@pytest.mark.long
def test_an_acknowledgement_made_elsewhere_is_told_but_not_stored_twice(warm_shed: Logbook) -> None:
    """The daemon shows it, for whoever listens; the logbook has it from the one who made it."""
    evaluation = Evaluation(SETTINGS, warm_shed)
    at = until_it_rings_and_is_seen(evaluation, warm_shed)
    said = evaluation(Instant(at + 5.0, at + 5.0), "told: alert")
    shown = [one.detail["happening"] for one in said if isinstance(one, Show) and one.kind == "alert"]
    stored = [one.payload["happening"] for one in said if isinstance(one, Entry) and one.kind == "alert"]
    assert shown == ["acknowledged"]
    assert stored == []


@pytest.mark.long
def test_the_daemon_looks_at_the_marks_and_not_only_each_quarter_of_an_hour(tmp_path: Path) -> None:
    """Through the real core, by the minute: a countdown rings within three minutes of its mark."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        recording = open_recording(RECORDING)
        layer = Layer("L1", recording.span.start + 20 * MINUTE, "epoxy-fast", 0.1)
        running = Replay(SETTINGS, recording, logbook, show=lambda _: None)
        running.run(entries=[Entry("layer", layer_as_plain(layer), layer.started)])
        before = [
            (event.due or 0.0) - event.at
            for event in alert_events(logbook)
            if event.meaning == "short" and event.happening in {"raised", "changed"}
        ]
    assert [left / MINUTE for left in before] == pytest.approx([60], abs=3)
