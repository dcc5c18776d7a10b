"""Each kind of alert stands whole on a locked phone: at most 120 characters, job and part first."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from curewatch.advice.alert import openings, pots, primer, recoat, watchers
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, Signal
from curewatch.advice.judge import limits
from curewatch.advice.judge.answer import Verdict
from curewatch.advice.judge.situation import Place, Situation, Surfaced, Trouble, TroubleKind
from curewatch.jobs import PART_LONGEST, Layer, OpenPart
from curewatch.materials import load_resin
from curewatch.model.air.past import Past
from curewatch.notices.lines import LONGEST, body_of, line, text_of
from curewatch.notices.outbox import Notice
from curewatch.shed import copied, open_parts
from curewatch.wording import Wording

NOW = 1_792_267_200.0  # Sat 2026-10-17 20:00 UTC
TOMORROW = NOW + 20 * 3600
NAME = "x" * 32  # the longest name of a resin or a sensor
PART = ("centreboard case, port side; upper half. " * 2)[:PART_LONGEST]
PLACE = f"J112 {PART}"
NAMED = f"{PLACE}, L212"
SEVERAL = open_parts.named(
    [OpenPart("J112", "tiller"), OpenPart("J111", "rudder cheek"), OpenPart("J9", PART)]
)
SLOW = load_resin("epoxy-slow")
WORDS = Wording(fahrenheit=True, twelve_hours=True)  # the longest way to write a figure


def progress(**more: Any) -> Any:
    """A followed layer with the longest names, as far as its alerts look at it."""
    band = SimpleNamespace(early=TOMORROW, likely=TOMORROW, late=TOMORROW)
    laid = Layer("L212", NOW, "epoxy-slow", job="J112", part=PART)
    of = {"layer": laid, "resin": SLOW, "at": NOW, "blush": "likely", "stage": "open", "stalls": 1.0}
    of |= {"probes": ((NAME, "it stands still"),), "moment": lambda name: band, "set": False}
    return SimpleNamespace(**of | more)


def damp(celsius: float, layers: tuple[Any, ...] = (), work: str = "") -> Signal:
    """The alert of a surface so warm, near the dew point, with these layers upon it."""
    nothing = np.full(0, np.nan)
    air = Place("bench", "air", NOW, 290.0, 0.2, 0.8, 0.02, 1540.0, 20.0)
    surface = Place("hull", "surface", NOW, celsius + 273.15, 0.2)
    past = Past(nothing, nothing, nothing, nothing, nothing, nothing)
    situation = Surfaced(NOW, air=air, surface=surface, past=past)
    (signal,) = watchers.condensation(situation, limits.for_resin(SLOW), None, layers, lambda: work)
    return signal


def chances(verdict: Verdict, blush: str, work: str) -> openings.Chances:
    """A shed that is fit from tomorrow on, or not; the jobs and parts that wait for it."""
    starts = SimpleNamespace(start=np.array([NOW, TOMORROW, TOMORROW]), probability=np.array([1.0, 0.9, 0.9]))
    windows = [SimpleNamespace(first=0, last=1, best=0)]
    strip = SimpleNamespace(
        starts=starts,
        windows=windows if verdict is Verdict.GO else [],
        limiting=["it is likely to be too cold at the surface before it sets"] * 3,
    )
    band = SimpleNamespace(early=TOMORROW, likely=TOMORROW)
    advice: Any = SimpleNamespace(
        verdict=verdict,
        probability=1.0,
        resin=NAME,
        blush=blush,
        remedies=(),
        timeline=[SimpleNamespace(name="laminate-before")],
        moment=lambda name: band,
    )
    whole = ((NOW, NOW + 1e6),)
    working: Any = tuple(SimpleNamespace(start=start, end=end) for start, end in whole)
    found: Any = strip
    return openings.Chances(
        NOW,
        working,
        lambda: advice,
        lambda: found,
        lambda at: advice,
        0.8,
        hour=NOW - 60.0,
        work=lambda: work,
    )


def of_the_shed(work: str) -> Iterator[Signal]:
    """Every kind that is of the shed, with every meaning that it has."""
    for reason in (
        "nothing for 1,441 min",
        "it reports, but its stamps lie 23.9 h behind this machine's clock",
    ):
        for kind in TroubleKind:
            for sensor in (NAME, ""):
                situation = Situation(NOW, troubles=(Trouble(kind, reason, sensor),))
                yield from watchers.sensors(situation, limits.for_resin(SLOW), {}, work=lambda: work)
    for blush in openings.PEEL_PLY:
        yield openings.go_now(chances(Verdict.GO, blush, work), None)
        yield openings.tonight(chances(Verdict.GO, blush, work), NOW - 60.0, None)
    yield damp(17.0, work=work)
    for verdict in (Verdict.NO_GO, Verdict.UNKNOWN):
        yield openings.tonight(chances(verdict, "none", work), NOW - 60.0, None)


def of_the_work() -> Iterator[Signal]:
    """Every other kind, with every meaning that it has."""
    for stage in ("open", "firm"):
        yield watchers.peel_ply(progress(stage=stage))
    for means in recoat.TEXTS:
        against = "its readings cannot be trusted" if means == recoat.NOT_FIT else ""
        text = recoat._text(progress(), means, against)
        yield Signal(Key(AlertKind.RECOAT_WINDOW, "L212"), True, False, text, meaning=means)
    yield watchers.stall(progress())
    for peak in (350.0, 400.0):  # below boiling, and above it
        yield watchers.own_heat(progress(own_peak=peak))
    yield watchers.probe(progress())
    for life, slope in ((TOMORROW - NOW, None), (-TOMORROW, None), (3600.0, 1.0)):
        pot = pots.OpenPot("L212", NAMED, NOW, life, life, "", slope)
        yield from pots.pots([pot], NOW)
    for open_for in (60.0, 7200.0):
        coat = SimpleNamespace(name="P1", named=f"J112 {PART}, P1", at=NOW - 3600.0)
        coat.tacky_after, coat.open_for = 60.0, open_for
        yield from primer.primed([coat], NOW, {})
    yield damp(17.0, (progress(),))
    for code in copied.WHY:
        kept: Any = SimpleNamespace(note=lambda name, code=code: copied.note(code, "of block 7 " * 30))
        yield from copied.signals(kept, {}, 0.0)


def as_event(signal: Signal) -> Event:
    key, happening = signal.key, Happening.RAISED
    return Event(happening, key, NOW, signal.text, signal.advised, signal.due, signal.meaning)


OF_THE_WORK = [as_event(signal) for signal in of_the_work()]
EVENTS = [*OF_THE_WORK, *map(as_event, of_the_shed(PLACE))]


def whole(told: str, first: str) -> None:
    """A locked phone shows all of it, and it begins with the work."""
    assert len(told) <= LONGEST
    assert not told.endswith("…")
    assert told.startswith(first)


@pytest.mark.parametrize("event", OF_THE_WORK, ids=lambda event: f"{event.key.kind}-{event.meaning}")
def test_each_kind_stands_whole_with_the_longest_names(event: Event) -> None:
    """Nothing is cut; job, part and layer come first. A refused copy is of the logbook alone."""
    of_layer = event.key.subject == "L212" or event.key.kind is AlertKind.CONDENSATION
    first = NAMED if of_layer else PLACE if event.key.kind is AlertKind.PRIMER else event.key.subject
    whole(line(event, WORDS, NOW), first)


@pytest.mark.parametrize("work", [PLACE, SEVERAL, ""], ids=["one job", "several", "none"])
def test_what_is_of_the_shed_begins_with_the_work_that_it_concerns(work: str) -> None:
    """*Go now*, *tonight* and what is wrong with a sensor: job and part first wherever a job is open."""
    for signal in of_the_shed(work):
        told = line(as_event(signal), WORDS, NOW)
        whole(told, work)
        said = told.removeprefix(work).removeprefix(": ").removeprefix(", ")
        sensor = signal.key.subject[:10]
        first = f"sensor {sensor}" if work and sensor else sensor or "clock: "
        assert said.startswith(BEGIN.get(signal.key.kind, first))
        assert "Sun 18 Oct" in said or signal.key.kind not in BEGIN or " go" not in said


BEGIN = {
    AlertKind.GO_NOW: "go now with ",
    AlertKind.TONIGHT: "tonight: ",
    AlertKind.CONDENSATION: "condensation",
}


def test_a_line_that_does_not_begin_with_its_work_is_found() -> None:
    """The control: of all that is of the shed none passes that was told without its job."""
    for signal in of_the_shed(""):
        with pytest.raises(AssertionError):
            whole(line(as_event(signal), WORDS, NOW), PLACE)


def test_what_the_line_has_no_room_for_stands_below_it() -> None:
    """The next layer of a *tonight* with the longest names; and nothing is said twice."""
    for work, below in ((PLACE, True), ("J1 tiller", False)):
        event = as_event(openings.tonight(chances(Verdict.GO, "peel-ply", work), NOW - 60.0, None))
        notice = Notice((1,), (event,), urgent=False)
        text = text_of(notice, WORDS, NOW)
        assert ("next layer before" not in text) is below
        assert ("next layer before" in body_of(notice, WORDS, NOW, text)) is below


def test_every_kind_is_among_them() -> None:
    assert {event.key.kind for event in EVENTS} == set(AlertKind)
    told = "\n".join(line(event, WORDS, NOW) for event in EVENTS)
    for words in (
        "go now with",
        "tonight: go",
        "laminate again before Sun 18 Oct",
        "Lay peel ply",
        "pot warming",
    ):
        assert words in told


def test_a_name_beyond_all_bounds_loses_its_middle_and_hides_nothing() -> None:
    """The deadline stays; a line break and a letter that nobody sees do nothing."""
    window = progress(layer=Layer("L1", NOW, "epoxy-slow", job="J1\n\x1b[2J\u202e", part="p" * 300))
    event = Event(
        Happening.RAISED, Key(AlertKind.RECOAT_WINDOW, "L1"), NOW, recoat._text(window, recoat.SOON, "")
    )
    told = line(event, WORDS, NOW)
    assert told.startswith("J1 \\x1b[2J\\u202e pp")
    assert told.endswith("p, L1: laminate again before Sun 18 Oct 4:00 pm")
    assert len(told) <= LONGEST


def test_what_piled_up_is_counted_and_listed_as_far_as_it_goes() -> None:
    """Forty-one in one line and eleven more: the first is the one that cannot wait."""
    many = [EVENTS[0], *(EVENTS * 4)[:40]]
    notice = Notice(tuple(range(41)), tuple(many), urgent=False, again=True)
    text = text_of(notice, WORDS, NOW)
    body = body_of(notice, WORDS, NOW, text)
    assert text.startswith("41 alerts: J112 ")
    assert text.endswith(" (again)")
    assert len(text) <= LONGEST
    assert body.endswith("and 31 more: curewatch alerts")
    assert len(body) < 4000
    of_one = text_of(notice, WORDS, NOW, "Saltmarsh Shed of Many Words")
    assert of_one.startswith("Saltmarsh She… Words, 41 alerts: J112 ")
    assert len(of_one) <= LONGEST
