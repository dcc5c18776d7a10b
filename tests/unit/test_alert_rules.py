"""The alerts' part of `tests/unit/rules/table.md`: one row, one look, one alert.

Layers, readings and the coming hours are what the row says; which alert that raises, what it means and
whether it rings is the program's own.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.alert import alerts, openings, watchers
from curewatch.advice.alert.alerts import ActiveAlert, AlertKind, Happening, Key, Signal, State
from curewatch.advice.alert.progress import Progress
from curewatch.advice.alert.stages import Silence
from curewatch.advice.judge.answer import Advice, Moment, Verdict
from curewatch.advice.judge.limits import for_resin
from curewatch.advice.judge.situation import Place, Situation, Surfaced, Trouble, TroubleKind
from curewatch.advice.plan.windows import Span
from curewatch.configuration import Configuration
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import load_resin
from curewatch.model.air.outlook import Outlook
from curewatch.model.mass.laminate import HOT
from curewatch.physics import moist_air
from curewatch.shed.look import Look
from curewatch.wording import plain_wording
from tests.unit.test_rules import NOW, TABLE, ZERO

MIDNIGHT = NOW - NOW % 86400.0
RESIN = load_resin("epoxy-slow")
LIMITS = for_resin(RESIN)


ELEVEN = MIDNIGHT + 11 * 3600


def rows(title: str) -> Iterator[list[str]]:
    """The lines of the table under this heading."""
    part = TABLE.read_text(encoding="utf-8").split(f"## {title}\n")[1].split("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("| ")]
    for line in lines[1:]:
        yield [cell.strip() for cell in line.strip().strip("|").split("|")]


def minute_of(text: str) -> float:
    found = re.search(r"at (\d+) min", text)
    assert found
    return float(found[1])


def moment(name: str, early: float | None, likely: float | None) -> Moment:
    return Moment(name, name, early, likely, likely)


def progress(text: str) -> Progress:
    """The layer of a row."""
    start, at = NOW, NOW + 60 * minute_of(text)
    told = {"pot empty": "pot_emptied", "peel ply on": "peel_ply_on", "washed": "washed"}
    told |= {"abraded": "abraded", "next layer on it": "covered"}
    answers: dict[str, Any] = {key: at for words, key in told.items() if words in text}
    layer = Layer("L2", start, RESIN.name, batch_mass=0.2, part="rudder cheek", **answers)
    likely = {"laminate-from": 180, "laminate-before": 360}
    timeline = tuple(
        moment(name, start + 60 * (300 if name == "laminate-before" else minute), start + 60 * minute)
        for name, minute in likely.items()
    )
    stalls = re.search(r"stalls on (\d+) of 10", text)
    heats = re.search(r"heats to (\d+) degC", text)
    peak = float(heats[1]) + ZERO if heats else 0.0
    pot: Any = SimpleNamespace(usual=SimpleNamespace(kicks=3600.0), kicks_early=2400.0)
    warms = re.search(r"cup warms (\S+) K a min", text)
    probes = {"probe follows": ("",), "probe silent": ("silent for 20 min",)}
    troubles = next((each for words, each in probes.items() if words in text), ())
    return Progress(
        layer=layer,
        resin=RESIN,
        at=at,
        stage="firm" if "firm" in text else "open" if at < start + 3600 else "takes-the-next-layer",
        conversion=0.1,
        glass_transition=250.0,
        timeline=timeline,
        blush="peel-ply" if "blush" in text else "none",
        stalls=0.1 * int(stalls[1]) if stalls else 0.0,
        wet=0.0,
        unmeasured=Silence(0.0, NOW),
        own_peak=peak if peak > HOT else None,
        pot=None if layer.pot_emptied is not None else pot,
        cup_slope=float(warms[1]) / 60.0 if warms else None,
        probes=tuple((f"probe-{number}", trouble) for number, trouble in enumerate(troubles)),
    )


def shed(at: float, margin: float = 12.0, humidity: float | None = None) -> Surfaced:
    """Air at 20 degC, a surface so much warmer than its dew point."""
    kelvin = ZERO + 20.0
    pressure = float(moist_air.vapour_pressure(kelvin, humidity or 0.45))
    dew = float(moist_air.dew_point(pressure))
    return Surfaced(
        at,
        air=Place("bench", "air", at - 60, kelvin, 0.0, humidity or 0.45, 0.0, pressure, 0.0),
        surface=Place("hull", "surface", at - 60, dew + margin, 0.0),
    )


def coming(situation: Surfaced, wet: int) -> Outlook:
    """Ten paths; on so many the surface comes within 2 K of the dew point within the hour."""
    time = situation.at + 900.0 * np.arange(13)
    assert situation.air is not None
    air = np.full((10, time.size), situation.air.temperature)
    pressure = np.full((10, time.size), situation.air.vapour_pressure)
    dew = moist_air.dew_point(pressure)
    surface = dew + np.where(np.arange(10)[:, None] < wet, 2.0, 12.0)
    return Outlook(time, air, pressure, surface, "by hand", 0.0)


def before(key: Key, cell: str, since: float) -> State:
    if not cell:
        return {}
    meaning = "" if cell == "yes" else cell
    return {key: ActiveAlert(key, since, "told", "", None, meaning, frozenset({meaning}))}


def outcome(state: State, signals: list[Signal], key: Key, now: float) -> tuple[str, str]:
    """What becomes of the alert: once its hold time is over, and whether it rang now."""
    state, events = alerts.step(state, signals, now)
    rings = any(
        event.key == key and event.happening in {Happening.RAISED, Happening.CHANGED} for event in events
    )
    state, _ = alerts.step(state, signals, now + 86400.0)
    active = state.get(key)
    return "no" if active is None else active.meaning or "yes", "yes" if rings else "no"


@pytest.mark.parametrize("row", list(rows("Alerts about a layer")), ids=" | ".join)
def test_the_alerts_about_a_layer_are_those_of_the_table(row: list[str]) -> None:
    """Raised, its meaning, and whether it rings."""
    text, alert, rang, active, rings = row
    seen, key = progress(text), Key(AlertKind(alert), "L2")
    state = before(key, rang, NOW)
    humidity = 0.84 if "too damp" in text else None
    situation = shed(seen.at, humidity=humidity)
    if humidity:
        own = replace(LIMITS.humidity_highest, value=0.80)
        limits = replace(LIMITS, humidity_highest=own)
    else:
        limits = LIMITS
    running = [] if "layer closed" in text else [seen]
    signals = watchers.signals(situation, running, limits, None, active=state)
    assert outcome(state, list(signals), key, seen.at) == (active, rings)
    said = [signal.text for signal in signals if signal.key == key and signal.raised]
    assert all("rudder cheek, L2" in str(one) for one in said)


@pytest.mark.parametrize("row", list(rows("Alerts about the shed")), ids=" | ".join)
def test_the_alerts_about_the_shed_are_those_of_the_table(row: list[str]) -> None:
    """As above; and what rests on silence waits for the first minute."""
    text, alert, rang, active, rings = row
    sensor = "hull" if alert.startswith("sensor") else ""
    key = Key(AlertKind(alert), sensor)
    state = before(key, rang, MIDNIGHT)
    if alert in {"go-now", "tonight"}:
        chances = _chances(text)
        assert outcome(state, list(openings.openings(chances, state)), key, chances.now) == (active, rings)
        return
    margin = re.search(r"margin ([\d.]+) K", text)
    wet = re.search(r"coming on (\d+) of 10", text)
    situation = shed(NOW, float(margin[1]) if margin else 12.0)
    trouble = re.search(r"hull (silent|stale|implausible)", text)
    if trouble:
        situation = replace(
            situation, troubles=(Trouble(TroubleKind(trouble[1]), "seen", "hull", "surface"),)
        )
    outlook = coming(situation, int(wet[1])) if wet else None
    found = watchers.signals(situation, [], LIMITS, outlook, active=state, listening="first minute" in text)
    assert outcome(state, list(found), key, NOW) == (active, rings)


@pytest.mark.parametrize("row", list(rows("Alerts about a batch that is not laid")), ids=" | ".join)
def test_the_pot_of_a_batch_that_is_not_laid_rings_as_in_the_table(row: list[str], tmp_path: Path) -> None:
    """From the logbook to the signal; its life is that of the model in warm air, stretched to 60 min."""
    text, alert, rang, active, rings = row
    now, key = NOW + 60 * minute_of(text), Key(AlertKind(alert), "J1 B1")
    cup = {"batch": "B1", "resin": "epoxy-slow", "resin_mass": 0.2, "hardener_mass": 0.044}
    told = [Entry("batch", cup, NOW, job="J1")]
    if "pot empty" in text:
        told.append(Entry("pot-empty", {"batch": "B1"}, now, job="J1"))
    if "; laid" in text:
        layer = layer_as_plain(Layer("L1", NOW, "epoxy-slow", job="J1")) | {"batches": ["B1"]}
        told.append(Entry("layer", layer, now, job="J1"))
    state = before(key, rang, NOW)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(entries=told)
        open_pots = Look(logbook, Configuration(), now, active=state).further_pots
    stretched = [each._replace(life=3600.0, early=2400.0) for each in open_pots]
    signals = watchers.signals(Situation(now), [], LIMITS, None, active=state, further=stretched)
    assert outcome(state, list(signals), key, now) == (active, rings)
    advised = [str(each.advised) for each in signals if each.key == key and each.raised]
    assert all("job pot-empty --batch B1 --job J1" in each for each in advised)


def test_a_layer_that_cannot_be_followed_keeps_its_alerts_and_its_pot_rings(tmp_path: Path) -> None:
    """Nothing is known of the air: what was raised stays raised, and the pot rings as in warm air."""
    laid = Layer("L1", NOW, "epoxy-slow", batch_mass=0.3)
    window, pot_key = Key(AlertKind.RECOAT_WINDOW, "L1"), Key(AlertKind.POT, "L1")
    state = before(window, "open", NOW)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(entries=[Entry("layer", layer_as_plain(laid), NOW)])
        first = Look(logbook, Configuration(), NOW + 60.0, active=state).further_pots
        assert first
        late = first[0].use_until + 60.0
        found = Look(logbook, Configuration(), late, active=state).signals
    after, events = alerts.step(state, found, late)
    assert window in after
    assert pot_key in {event.key for event in events if event.happening is Happening.RAISED}


def test_the_line_for_the_night_says_no_go_where_no_start_could_be_looked_at() -> None:
    """The face below is wrong while readings are missing; unknown stays unknown."""
    words = plain_wording()
    lines = {
        ruled: openings.tonight(_chances(f"{ruled} at 18:00"), MIDNIGHT + 18 * 3600, None).text
        for ruled in Verdict
    }
    said = {str(ruled): words.say(text, MIDNIGHT) for ruled, text in lines.items()}
    unknown = "tonight: unknown, readings are missing"
    assert said == {"go": unknown, "no-go": "tonight: no-go, asked", "unknown": unknown}


def test_a_go_that_outlasts_its_last_start_names_that_start_no_more() -> None:
    """Told at ten to start before eleven: at twelve it is still a go. It rings no second time."""
    told = Signal(Key(AlertKind.GO_NOW), True, False, "go now; start before 11:00", "Ask again", ELEVEN)
    state, _ = alerts.step({}, [told], MIDNIGHT + 10 * 3600)
    for hour, text, due in (("10:30", told.text, ELEVEN), ("12:00", "go now with epoxy-slow", None)):
        chances = _chances(f"go at {hour}")
        signals = list(openings.openings(chances, state))
        (shown,) = alerts.reworded(state, signals).values()
        assert (plain_wording().say(shown.text, chances.now), shown.due) == (text, due)
        state, events = alerts.step(state, signals, chances.now)
        assert events == ()
    assert "before" not in plain_wording().say(state[Key(AlertKind.GO_NOW)].text, MIDNIGHT)


def _chances(text: str) -> openings.Chances:
    said = re.match(
        r"(go|no-go|unknown) at (\d+):(\d+)(?:, (\d+) %)?(?:; tonight at (\d+):00)?(; not asked for)?", text
    )
    assert said
    now = MIDNIGHT + 3600 * int(said[2]) + 60 * int(said[3])
    probability = int(said[4] or 100) / 100
    advice = Advice(Verdict(said[1]), "asked", now, now, "epoxy-slow", "", probability=probability)
    return openings.Chances(
        now,
        (Span(MIDNIGHT + 8 * 3600, MIDNIGHT + 22.5 * 3600),),
        advice=lambda: advice,
        strip=lambda: None,
        at=lambda start: advice,
        needed=0.8,
        tells_go=said[6] is None,
        hour=None if said[5] is None else MIDNIGHT + 3600 * int(said[5]),
    )
