"""A running layer, followed along what was recorded and what may come; and the alerts it raises."""

from collections.abc import Iterator

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key
from curewatch.advice.alert.pots import OpenPot
from curewatch.advice.alert.probe import ProbePath
from curewatch.advice.alert.progress import Progress, follow
from curewatch.advice.alert.recoat import (
    CLOSED,
    NOT_FIT,
    OPEN,
    SHORT,
    SOON,
    UNSURE,
    meaning,
    next_layer,
    obstacle,
)
from curewatch.advice.alert.stages import BRIDGED, STAGES
from curewatch.advice.alert.watchers import next_mark, signals
from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Place, Situation, Surfaced, Trouble, TroubleKind
from curewatch.advice.judge.timeline import PotBatch, pot_lives
from curewatch.jobs import Layer
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.outlook import Outlook
from curewatch.model.air.past import Past
from curewatch.model.film import film
from curewatch.model.film.lots import LATE, Lot, rate_factor_at
from curewatch.model.mass.laminate import LaminateLayer
from curewatch.model.mass.pot import pot
from curewatch.physics import moist_air
from curewatch.wording import plain_wording

NOW = 1_795_000_000.0
SLOW = load_resin("epoxy-slow")
FAST = load_resin("epoxy-fast")
WOOD = load_substrate("plywood")
LINES = limits.for_resin(SLOW)
ASKED = Question(SLOW, LINES, WOOD)


def shed(at: float, celsius: float, humidity: float, hours: float = 6.0) -> Surfaced:
    """A shed that has stood at one temperature for some hours."""
    kelvin = celsius + 273.15
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    time = at - hours * 3600 + 900.0 * np.arange(int(4 * hours))
    nothing = np.full(time.size, np.nan)
    same = np.full(time.size, kelvin)
    return Surfaced(
        at,
        air=Place("bench", "air", at - 30, kelvin, 0.2, humidity, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", at - 30, kelvin, 0.2),
        past=Past(time, same, np.full(time.size, pressure), same, nothing, nothing),
    )


def ahead(situation: Surfaced, to_c: float | None = None) -> Outlook:
    """One certain path, or one that goes to another temperature within four hours; 16 members."""
    assert situation.air is not None
    time = situation.at + 900.0 * np.arange(4 * 36 + 1)
    path = np.full(time.size, situation.air.temperature)
    if to_c is not None:
        path = np.interp(time - situation.at, [0, 4 * 3600.0], [path[0], to_c + 273.15])
    paths = np.tile(path, (16, 1))
    pressure = np.minimum(situation.air.vapour_pressure, moist_air.saturation_pressure(paths))
    return Outlook(time, paths, pressure, paths, "demo", 0.0)


def layer(hours_ago: float, at: float = NOW) -> Layer:
    return Layer("L1", at - hours_ago * 3600, "epoxy-slow", batch_mass=0.2)


def followed(hours_ago: float, celsius: float = 20.0, humidity: float = 0.5) -> Progress:
    situation = shed(NOW, celsius, humidity)
    return follow(layer(hours_ago), ASKED, situation, ahead(situation))


@pytest.mark.parametrize("hours", [0.5, 2.0, 5.0])
def test_a_layer_in_a_steady_shed_is_where_the_film_model_says(hours: float) -> None:
    """A very thin layer is a film at that temperature for that long; the usual one is a little further."""
    plain = float(film.cure(SLOW, film.constant(293.15, hours * 3600)).conversion[-1])
    situation = shed(NOW, 20.0, 0.5)
    thin = follow(layer(hours), replace(ASKED, thickness=1e-4), situation, ahead(situation))
    assert thin.conversion == pytest.approx(plain, abs=4e-3)
    assert plain < followed(hours).conversion < plain + 0.03


@pytest.mark.long
def test_the_stage_only_ever_moves_on() -> None:
    """Every half hour later, the same stage or a later one; all the night's stages are met."""
    stages = [STAGES.index(followed(hours).stage) for hours in np.arange(0.0, 12.1, 0.5)]
    assert stages == sorted(stages)
    assert set(stages) >= {0, 1, 2, 3, 4}


def long_after(hours: float, closes: float) -> Progress:
    """A layer so old, of a resin whose maker lets the next one follow for so many hours at 20 degC."""
    bond = replace(SLOW.bond, sheet_closes=closes * 3600, sheet_temperature=293.15)
    situation = shed(NOW, 20.0, 0.5, hours=hours + 6.0)
    return follow(layer(hours), replace(ASKED, resin=replace(SLOW, bond=bond)), situation, ahead(situation))


def test_a_window_that_is_open_for_days_is_closed_after_them() -> None:
    """A maker's 72 h, asked after 60, 71.5 and 80; a window of 100 h is still open then."""
    assert [meaning(long_after(hours, 72.0)) for hours in (60.0, 71.2, 80.0)] == [OPEN, SOON, CLOSED]
    closes = long_after(80.0, 72.0).moment("laminate-before").likely
    assert closes == pytest.approx(NOW - 8 * 3600, abs=3600.0)
    assert meaning(long_after(80.0, 100.0)) == OPEN


def with_window(opens: float | None, closes: float) -> Progress:
    """A layer whose window opens and closes so many minutes from now; its early end is the likely one."""
    seen = followed(3.0)
    moments = {"laminate-from": opens, "laminate-before": closes}
    timeline = tuple(
        each if each.name not in moments else replace(each, early=when, likely=when, late=when)
        for each in seen.timeline
        for minutes in [moments.get(each.name)]
        for when in [None if minutes is None else NOW + 60.0 * minutes]
    )
    return replace(seen, timeline=timeline)


@pytest.mark.parametrize(
    ("opens", "closes", "means"),
    [
        (20.0, 61.0, ""),
        (20.0, 60.0, SHORT),
        (0.0, 60.0, SOON),
        (None, 60.0, SOON),
        (20.0, 25.0, SHORT),
        (20.0, 24.9, UNSURE),
        (20.0, 15.0, UNSURE),
        (0.0, 4.9, UNSURE),
        (-60.0, 1.0, SOON),
        (-2.0, -1.0, CLOSED),
    ],
)
def test_a_window_that_is_short_or_may_close_before_it_opens_is_said(
    opens: float | None, closes: float, means: str
) -> None:
    """Within the hour before its early end, whether or not it is open by then."""
    seen = with_window(opens, closes)
    assert meaning(seen) == means
    assert meaning(seen, "too cold") == (NOT_FIT if means in {SHORT, SOON} else means)
    (told,) = next_layer(seen, "", {})
    said, advised = worded(told.text), worded(told.advised)
    assert ("opens at" in said) == (means == SHORT)
    assert ("bonds chemically" in advised) == (means in {SHORT, SOON})
    assert ("abrade to dull" in advised) == (means in {UNSURE, CLOSED})
    assert (told.due is not None) == (means in {SHORT, SOON})


def test_a_layer_that_sets_on_its_third_day_is_set_and_stalls_no_more() -> None:
    """At 2 degC a slow lot of epoxy-slow is tack-free after two days: it is told so, and it never stalled."""
    lot = replace(SLOW, kinetics=SLOW.kinetics.faster(0.55))
    situation = shed(NOW, 2.0, 0.5, hours=100.0)
    seen = follow(layer(90.0), replace(ASKED, resin=lot, lots=(Lot(lot, 1.0),)), situation, ahead(situation))
    late = seen.moment("tack-free").likely
    assert late is not None
    assert 48.0 < (late - seen.layer.started) / 3600 < 90.0
    assert seen.stalls == 0.0
    assert seen.set


def test_what_was_recorded_counts_not_what_is_now() -> None:
    """A warm shed that has just turned cold: the layer is as far as the warmth brought it."""
    warm, cold = shed(NOW, 24.0, 0.4), shed(NOW, 10.0, 0.4)
    mixed = replace(cold, past=warm.past)
    outlook = ahead(cold)
    recorded = follow(layer(5), ASKED, mixed, outlook).conversion
    assert recorded > 2 * follow(layer(5), ASKED, cold, outlook).conversion


def test_a_stretch_nobody_measured_is_said() -> None:
    """Three hours without a reading, in the middle."""
    situation = shed(NOW, 20.0, 0.5)
    hole = (situation.past.time > NOW - 4 * 3600) & (situation.past.time < NOW - 3600)
    for column in (situation.past.air_temperature, situation.past.surface_temperature):
        column[hole] = np.nan
    seen = follow(layer(5), ASKED, situation, ahead(situation))
    assert seen.unmeasured.at(NOW) == pytest.approx(3 * 3600, abs=1800)
    assert followed(5).unmeasured.at(NOW) == 0.0
    silent = seen.unmeasured
    assert silent.at(silent.heard + BRIDGED) == silent.ended
    assert silent.at(silent.heard + 2 * BRIDGED) == silent.ended + 2 * BRIDGED


def test_a_probe_in_the_layer_measures_it_where_the_air_is_not_known() -> None:
    """The same hole, with a thermometer in the layer."""
    situation = shed(NOW, 20.0, 0.5)
    for column in (situation.past.air_temperature, situation.past.surface_temperature):
        column[situation.past.time > NOW - 4 * 3600] = np.nan
    time = np.arange(NOW - 5 * 3600, NOW, 60.0)
    probe = ProbePath("stick", time, np.full(time.size, 293.0))
    outlook = ahead(situation)
    assert follow(layer(5), ASKED, situation, outlook).unmeasured.at(NOW) > 3 * 3600
    assert follow(layer(5), ASKED, situation, outlook, probe=probe).unmeasured.at(NOW) == 0.0


def test_a_layer_without_any_recorded_past_is_followed_from_now() -> None:
    """It just started: nothing is missing yet."""
    bare = Surfaced(NOW, air=shed(NOW, 20.0, 0.5).air, surface=shed(NOW, 20.0, 0.5).surface)
    seen = follow(layer(0.0), ASKED, bare, ahead(bare))
    assert seen.stage == "open"
    assert seen.unmeasured.at(NOW) == 0.0


def evening(to_c: float, humidity: float, hours: float = 14.0) -> Iterator[Event]:
    """A layer laid at 18 degC in a shed that goes to another temperature, asked every twenty minutes."""
    state = alerts.none_active()
    begin = shed(NOW, 18.0, humidity)
    pressure = begin.air.vapour_pressure if begin.air else None
    assert pressure is not None
    for at in np.arange(NOW, NOW + hours * 3600, 1200.0):
        celsius = float(np.interp(at - NOW, [0, 4 * 3600.0], [18.0, to_c]))
        time = np.arange(NOW - 3600, at, 900.0)
        past = np.interp(time - NOW, [0, 4 * 3600.0], [18.0, to_c]) + 273.15
        vapour = np.minimum(pressure, moist_air.saturation_pressure(past))
        nothing = np.full(time.size, np.nan)
        here = min(pressure, float(moist_air.saturation_pressure(celsius + 273.15)))
        situation = Surfaced(
            at,
            air=Place("bench", "air", at - 20, celsius + 273.15, 0.2, humidity, 0.02, here, 20.0),
            surface=Place("hull", "surface", at - 20, celsius + 273.15, 0.2),
            past=Past(time, past, vapour, past, nothing, nothing),
        )
        outlook = ahead(situation, to_c if at < NOW + 4 * 3600 else None)
        seen = follow(Layer("L1", NOW, "epoxy-slow"), ASKED, situation, outlook)
        state, events = alerts.step(state, signals(situation, [seen], LINES, outlook, active=state), at)
        yield from events


worded = plain_wording().say


@pytest.mark.long
def test_a_thick_layer_is_timed_by_its_own_heat() -> None:
    """Its window closes sooner than a film's, most on a warm layer below; and a thin one is a film."""
    situation, outlook = shed(NOW, 20.0, 0.35), ahead(shed(NOW, 20.0, 0.35))

    def closes(thickness: float, below: tuple[LaminateLayer, ...] = ()) -> float:
        laid = Layer("L2", NOW - 1800, "epoxy-slow", thickness=thickness)
        asked = replace(ASKED, thickness=thickness)
        return follow(laid, asked, situation, outlook, below=below).moment("laminate-before").likely or 0.0

    lower = LaminateLayer(NOW - 3 * 3600, 4e-3)
    thin, film, thick, warmed = closes(1e-4), closes(0.8e-3), closes(4e-3), closes(4e-3, (lower,))
    assert 0.0 < thin - film < 1800.0
    assert film - thick > 1800.0
    assert thick - warmed > 600.0


@pytest.mark.long
def test_a_warm_dry_evening_rings_for_the_next_layer_and_nothing_else() -> None:
    """Open, closing, closed: in that order, each once."""
    said = [(event.key.kind, event.meaning) for event in evening(18.0, 0.35, hours=18.0)]
    assert said == [(AlertKind.RECOAT_WINDOW, means) for means in ("open", "closing", "closed")]


@pytest.mark.long
def test_a_shed_that_cools_towards_its_dew_point_rings_for_peel_ply_and_condensation() -> None:
    """18 degC and 70 % going to 8: blush is foreseen at the start, condensation before it comes."""
    said = list(evening(8.0, 0.70, hours=6.0))
    kinds = [event.key.kind for event in said if event.happening is Happening.RAISED]
    assert AlertKind.PEEL_PLY in kinds
    assert AlertKind.CONDENSATION in kinds
    wet = next(event for event in said if event.key.kind is AlertKind.CONDENSATION)
    assert wet.at < NOW + 3 * 3600
    assert "No lamp, no flame" in str(wet.advised)


@pytest.mark.long
def test_no_alert_is_raised_twice_without_being_cleared() -> None:
    """Over a damp evening every raise is followed by a clear before the next raise."""
    last: dict[Key, Happening] = {}
    for event in evening(9.0, 0.65, hours=7.0):
        if event.happening is Happening.RAISED:
            assert last.get(event.key) in {None, Happening.CLEARED}
        last[event.key] = event.happening


def test_a_layer_that_is_closed_takes_its_alerts_with_it() -> None:
    """Nothing about L1 stands once L1 no longer runs; the shed's own alerts stay."""
    situation = shed(NOW, 20.0, 0.5)
    seen = follow(layer(6.0), ASKED, situation, ahead(situation))
    state, _ = alerts.step({}, signals(situation, [seen], LINES, ahead(situation), active={}), NOW)
    assert Key(AlertKind.RECOAT_WINDOW, "L1") in state
    after, events = alerts.step(
        state, signals(situation, [], LINES, ahead(situation), active=state), NOW + 60
    )
    assert not after
    assert {event.happening for event in events} == {Happening.CLEARED}


def test_a_silent_sensor_rings_and_its_return_clears_it() -> None:
    """Raised while doubted, cleared two minutes after it is heard again."""
    good = shed(NOW, 20.0, 0.5)
    silent = replace(good, troubles=(Trouble(TroubleKind.SILENT, "nothing for 12 min", "hull", "surface"),))
    state, first = alerts.step({}, signals(silent, [], LINES, None, active={}), NOW)
    assert [event.key for event in first] == [Key(AlertKind.SENSOR_LOST, "hull")]
    for seconds in (60.0, 200.0):
        state, events = alerts.step(state, signals(good, [], LINES, None, active=state), NOW + seconds)
    assert [event.happening for event in events] == [Happening.CLEARED]


def test_the_alert_of_a_sensor_that_was_renamed_ends_at_once() -> None:
    """A name that is no longer asked about; one that is, and of which nothing is known, keeps its alert.

    The controls: nobody looked which take part, and the name is one of them.
    """
    good = shed(NOW, 20.0, 0.5)
    silent = replace(good, troubles=(Trouble(TroubleKind.SILENT, "nothing for 12 min", "yrad", "outside"),))
    lost, _ = alerts.step({}, signals(silent, [], LINES, None, active={}), NOW)

    def after(judged: frozenset[str] | None) -> alerts.State:
        found = signals(replace(good, judged=judged), [], LINES, None, active=lost)
        return alerts.step(lost, found, NOW + 60.0)[0]

    assert not after(frozenset({"bench", "hull", "yard"}))
    assert after(None) == lost
    assert set(after(frozenset({"bench", "hull", "yrad"}))) == set(lost)


def test_a_second_sensor_of_a_role_that_reports_again_clears_its_alert() -> None:
    """Another one stands for their place: it is asked about, and nothing is wrong with it."""
    good = shed(NOW, 20.0, 0.5)
    silent = replace(good, troubles=(Trouble(TroubleKind.SILENT, "nothing for 12 min", "beam", "air"),))
    state, _ = alerts.step({}, signals(silent, [], LINES, None, active={}), NOW)
    both = replace(good, judged=frozenset({"bench", "beam", "hull"}))
    for seconds in (60.0, 200.0):
        state, events = alerts.step(state, signals(both, [], LINES, None, active=state), NOW + seconds)
    assert [event.happening for event in events] == [Happening.CLEARED]


def test_a_full_cup_rings_before_it_kicks() -> None:
    """After three quarters of a fast lot's life in the cup, with the moment the usual one kicks."""
    early, late = followed(0.2), followed(0.7)
    assert early.pot is not None
    situation = shed(NOW, 20.0, 0.5)

    def ringing(seen: Progress) -> bool:
        found = signals(situation, [seen], LINES, None, active={})
        return any(one.raised for one in found if one.key.kind is AlertKind.POT)

    assert 0.75 * early.pot.kicks_early > 0.2 * 3600
    assert not ringing(early)
    assert ringing(late) == (0.75 * early.pot.kicks_early <= 0.7 * 3600)


def test_a_pot_of_a_fast_lot_rings_before_it_kicks() -> None:
    """One lot in ten is so fast. By the usual lot's life alone it would ring after some have kicked."""
    late = []
    for resin, mass, air in ((FAST, 2.0, 297.15), (FAST, 0.2, 293.15), (SLOW, 0.3, 293.15)):
        lives = pot_lives(PotBatch(resin, mass), air)
        kicked = pot(resin, mass, air, rate_factor=rate_factor_at(resin, LATE)).pot_life
        left = OpenPot("L1", "L1", NOW, lives.usual.kicks, lives.kicks_early, "")
        assert left.use_until - NOW == pytest.approx(0.75 * kicked, rel=0.05)
        late.append(0.75 * lives.usual.kicks > kicked)
    assert any(late)


def test_a_pot_kicks_by_the_air_that_it_was_mixed_in() -> None:
    """Laid in 22 degC on a ply that is warm still, from a night of 8 degC: the pot is of the warm day."""
    situation = shed(NOW, 22.0, 0.5, hours=20.0)
    night = situation.past.time < NOW - 4 * 3600.0
    for column in (situation.past.air_temperature, situation.past.surface_temperature):
        column[night] = 281.15
    ply = (LaminateLayer(NOW - 14 * 3600.0, 1e-3),)
    for below in ((), ply):
        seen = follow(layer(0.2), ASKED, situation, ahead(situation), below=below)
        assert seen.pot is not None
        assert seen.pot.usual.pot_life == pytest.approx(pot(SLOW, 0.2, 295.15).pot_life, rel=0.01)
    assert pot(SLOW, 0.2, 281.15).pot_life > 3.0 * pot(SLOW, 0.2, 295.15).pot_life


def test_a_pot_that_kicks_at_night_rings_then() -> None:
    """A slow resin in the cold kicks after more than six hours and gets hot; a small cup of it only gels."""
    cold = shed(NOW, 5.0, 0.5, hours=12.0)
    for grams, age, ringing in ((150, 3.0, False), (150, 4.0, True), (100, 9.0, False)):
        left = replace(layer(age), batch_mass=grams / 1000)
        seen = follow(left, ASKED, cold, ahead(cold))
        assert seen.pot is not None
        assert 6.0 < seen.pot.usual.pot_life / 3600 < 12.0
        assert seen.pot.usual.overheats == (grams == 150)
        found = signals(cold, [seen], LINES, None, active={})
        assert [one.raised for one in found if one.key.kind is AlertKind.POT] == [ringing]
    six = pot(SLOW, 0.15, 278.15, duration=6 * 3600.0)
    assert np.isnan(six.pot_life)
    assert not six.overheats


def test_a_pot_that_never_kicks_stops_no_look_and_rings_only_by_its_thermometer() -> None:
    """A small batch in a cold shed: no alarm by the model and no mark of it; the look goes on."""
    cold, small = shed(NOW, 3.0, 0.5), replace(layer(0.3), batch_mass=0.02)
    seen = follow(small, ASKED, cold, ahead(cold))
    assert seen.pot is not None
    assert np.isinf(seen.pot.usual.kicks)
    for rising, ringing in ((None, False), (0.1, True)):
        found = signals(cold, [replace(seen, cup_slope=rising)], LINES, None, active={})
        (of_pot,) = [one for one in found if one.key.kind is AlertKind.POT]
        assert (of_pot.raised, of_pot.due) == (ringing, None)
    assert np.isfinite(next_mark([seen], NOW) or 0.0)


def test_a_pot_alarm_says_what_stays_what_goes_where_and_when_to_leave() -> None:
    """Hazard first; the job is left alone; the rest goes outdoors; a pot that smokes is left where it is."""
    seen = followed(0.7)
    found = signals(shed(NOW, 20.0, 0.5), [seen], LINES, None, active={})
    said = next(str(one.advised) for one in found if one.key.kind is AlertKind.POT)
    assert said.startswith("WARNING")
    for words in (
        "Stop using it",
        "what is on the job stays",
        "thin in a metal tray outdoors, uncovered, on something that cannot burn",
        "If it smokes, do not carry it: leave the shed",
        "curewatch job pot-empty --layer L1",
    ):
        assert words in said
    assert "spread it" not in said


def test_an_empty_pot_never_rings_and_ends_its_alarm_at_once() -> None:
    """Said before the alarm it does not ring at all; said during it, the alarm is cleared in one look."""
    situation, full = shed(NOW, 20.0, 0.5), layer(1.2)
    big = replace(full, batch_mass=0.6)
    seen = follow(big, ASKED, situation, ahead(situation))
    emptied = follow(replace(big, pot_emptied=NOW - 60), ASKED, situation, ahead(situation))

    def of_pot(state: alerts.State, one: Progress) -> tuple[alerts.State, list[Happening]]:
        after, events = alerts.step(state, signals(situation, [one], LINES, None, active=state), NOW)
        return after, [event.happening for event in events if event.key.kind is AlertKind.POT]

    ringing, first = of_pot({}, seen)
    assert first == [Happening.RAISED]
    assert of_pot({}, emptied)[1] == []
    assert of_pot(ringing, emptied)[1] == [Happening.CLEARED]
    assert emptied.pot is None


def test_an_open_window_in_a_no_go_shed_is_no_leave_to_laminate() -> None:
    """The alert names what is against it, and never says to lay the next layer now."""
    dry, wet = shed(NOW, 20.0, 0.5), shed(NOW, 20.0, 0.90)
    seen = follow(layer(5.0), ASKED, dry, ahead(dry))

    def advised(situation: Surfaced) -> str:
        found = signals(situation, [seen], LINES, None, active={})
        return " ".join(worded(one.advised) for one in found if one.raised and one.key.subject == "L1")

    def texts(situation: Surfaced) -> str:
        found = signals(situation, [seen], LINES, None, active={})
        return " ".join(worded(one.text) for one in found if one.raised and one.key.subject == "L1")

    assert "bonds chemically" in advised(dry)
    assert "before the next layer" in advised(wet)
    assert "not fit" in texts(wet)
    assert "dew point" in texts(wet)
    assert "lay the next layer now" in texts(dry)
    assert "lay the next layer" not in texts(wet)
    assert "bonds chemically" not in advised(wet)


@pytest.mark.parametrize(
    ("situation", "words"),
    [
        (shed(NOW, 20.0, 0.5), ""),
        (shed(NOW, 6.0, 0.5), "too cold"),
        (shed(NOW, 20.0, 0.84), "humidity"),
        (shed(NOW, 20.0, 0.93), "dew point"),
        (Situation(NOW), "cannot be trusted"),
    ],
)
def test_what_forbids_laminating_now_is_named(situation: Situation, words: str) -> None:
    """Nothing, cold, damp air, a wet surface, no readings."""
    own = limits.with_own(LINES, {"condensation_margin_k": 1.0})
    found = worded(obstacle(situation, own))
    assert (words in found) if words else found == ""


def test_a_waxed_resin_is_never_said_to_take_a_next_layer() -> None:
    """No window, no countdown and no alert to laminate; what to do stands beside; the rest as ever."""
    waxed = load_resin("polyester-topcoat")
    asked = Question(waxed, limits.for_resin(waxed), WOOD)
    situation = shed(NOW, 20.0, 0.5)
    for hours in (0.2, 0.7, 2.0):
        at = Layer("L1", NOW - hours * 3600, "polyester-topcoat", peroxide_percent=2.0)
        found = follow(at, asked, situation, ahead(situation))
        for name in ("laminate-from", "laminate-before"):
            moment = found.moment(name)
            assert (moment.early, moment.likely, moment.late) == (None, None, None)
            assert "abrade before any next layer" in moment.note
        assert found.moment("gel").likely is not None
        assert found.stage != "takes-the-next-layer"
        told = signals(situation, [found], asked.limits, ahead(situation), active={})
        assert not [each for each in told if each.raised and "next layer" in worded(each.text)]


def test_where_blush_is_foreseen_the_face_is_cleaned_before_the_next_layer() -> None:
    """Even in a dry hour: wash and abrade first, or tear off the peel ply that was told."""
    dry = shed(NOW, 20.0, 0.5)
    seen = replace(follow(layer(6.0), ASKED, dry, ahead(dry)), blush="peel-ply")
    found = signals(dry, [seen], LINES, None, active={})
    covered = replace(seen, layer=replace(seen.layer, peel_ply_on=NOW - 3600))
    under = signals(dry, [covered], LINES, None, active={})
    for told, words in (
        (found, "wash with water and abrade first"),
        (under, "Tear the peel ply off and abrade first"),
    ):
        window = next(one for one in told if one.key.kind is AlertKind.RECOAT_WINDOW)
        assert window.raised
        assert words in worded(window.advised)
        assert "no sanding" not in worded(window.advised)
