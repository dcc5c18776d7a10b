"""The demonstration's evening, carried on into the night: what rings, and what a person's word ends.

Everything in it is invented. The negative control is the countdown of before, put back into the same run.
"""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import pytest
from msgspec.structs import replace

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Signal
from curewatch.cli.commands.demo import demo_configuration
from curewatch.cli.evening import LAYERS, layers
from curewatch.clock import Instant
from curewatch.daemon import evaluation
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import STARTED
from curewatch.daemon.replay import Replay
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Reading
from curewatch.simulation.reports import reports
from curewatch.simulation.saltmarsh import evening
from curewatch.units import MINUTE

Looks = list[tuple[float, tuple[Signal, ...]]]
RINGS = {Happening.RAISED, Happening.CHANGED}


def played(
    folder: Path, hours: float, told: Iterable[Entry], monkeypatch: pytest.MonkeyPatch
) -> tuple[list[Event], Looks]:
    """The alerts of an evening, and what each look said of them."""
    looks: Looks = []

    def step(state: alerts.State, signals: Iterable[Signal], now: float) -> object:
        looks.append((now, tuple(signals)))
        return STEP(state, looks[-1][1], now)

    monkeypatch.setattr(evaluation.alerts, "step", step)
    part = folder / "evening.txt"
    lines = [report.line for report in reports(evening(), int(hours * 60) + 1)]
    part.write_bytes(b"\n".join(lines) + b"\n")
    with Logbook(folder / "logbook.sqlite") as logbook:
        running = Replay(demo_configuration(), open_recording(part), logbook, show=lambda event: None)
        running.run(entries=[*layers(), *told])
        found = [alerts.event_from_plain(entry.payload) for entry in logbook.entries("alert")]
    return found, looks


STEP = alerts.step


def rings(events: Iterable[Event]) -> Counter[tuple[str, str, str]]:
    return Counter(
        (event.key.kind, event.key.subject, event.meaning) for event in events if event.happening in RINGS
    )


def by_the_minute(signal: Signal, now: float) -> Signal:
    """The defect: a countdown that rings at 60, 30 and 10 minutes."""
    if signal.key.kind is not AlertKind.RECOAT_WINDOW or signal.due is None:
        return signal
    return replace(signal, meaning=str(sum(signal.due - now <= ahead * MINUTE for ahead in (60, 30, 10))))


@pytest.mark.long
def test_the_evening_rings_at_most_once_for_each_meaning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """16 hours, nobody answers: at most ten rings; by the minute there are more for the windows."""
    events, looks = played(tmp_path, 16.0, (), monkeypatch)
    found = rings(events)
    assert max(found.values()) == 1, found
    assert sum(found.values()) <= 10
    windows = [meaning for kind, _, meaning in found if kind == AlertKind.RECOAT_WINDOW]
    assert windows
    assert set(windows) <= {"open", "short", "closing", "not-fit", "closed"}
    assert all(
        LAYERS[0].part in str(event.text) or "{layer}" in str(event.text)
        for event in events
        if event.key.of_layer and event.happening in RINGS
    )
    state, put_back = alerts.none_active(), list[Event]()
    for now, signals in looks:
        state, changed = STEP(state, [by_the_minute(each, now) for each in signals], now)
        put_back += changed
    assert len([each for each in put_back if _rings_for_window(each)]) > len(windows)


def _rings_for_window(event: Event) -> bool:
    return event.happening in RINGS and event.key.kind is AlertKind.RECOAT_WINDOW


@pytest.mark.long
def test_what_was_told_ends_what_it_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Peel ply laid and the pot emptied while both ring: each ends with the next look, and stays away."""
    start = LAYERS[1].started
    told = [
        Entry("peel-ply", {"layer": "L2", "action": "on"}, start + 25 * MINUTE),
        Entry("pot-empty", {"layer": "L2"}, start + 30 * MINUTE),
    ]
    events, looks = played(tmp_path, 5.0, told, monkeypatch)
    for kind, said in ((AlertKind.PEEL_PLY, told[0].at), (AlertKind.POT, told[1].at)):
        of_it = [event for event in events if event.key == (kind, "L2")]
        assert [event.happening for event in of_it] == [Happening.RAISED, Happening.CLEARED]
        after = next(now for now, _ in looks if now >= said)
        assert of_it[1].at == after <= said + 2 * MINUTE


def test_at_the_start_a_pot_rings_and_silence_waits_a_minute(tmp_path: Path) -> None:
    """Readings end 20 minutes before: the pot rings in the first look, the lost sensors in the next."""
    now, layer = 1_795_000_000.0, Layer("L1", 1_795_000_000.0 - 40 * MINUTE, "epoxy-fast", 0.3)
    spoken = [
        Reading(name, at, at, 293.15, 0.5 if name == "bench" else None)
        for at in (now - (200 - number) * MINUTE for number in range(180))
        for name in ("bench", "hull")
    ]
    settings = demo_configuration()
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(spoken, [Entry("layer", layer_as_plain(layer), layer.started)])
        look = Evaluation(settings, logbook)
        first = look(Instant(now, now), STARTED)
        second = look(Instant(now + 61, now + 61), "a quarter of an hour")
    assert kinds(first) == {"pot-warming"}
    assert kinds(second) == {"sensor-lost"}
    assert not [one for one in first if isinstance(one, Entry) and one.kind == "verdict"]
    assert [one for one in second if isinstance(one, Entry) and one.kind == "verdict"]


def kinds(said: Iterable[object]) -> set[str]:
    """The kinds of the alerts that ring."""
    return {str(one.payload["alert"]) for one in said if isinstance(one, Entry) and one.kind == "alert"}
