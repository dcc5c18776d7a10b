"""Alerts ring once, ring again only when they mean something else, and survive a restart."""

import json

from hypothesis import given
from hypothesis import strategies as some
from msgspec.structs import replace

from curewatch.advice.alert.alerts import (
    AlertKind,
    Event,
    Happening,
    Key,
    Signal,
    State,
    acknowledge,
    event_as_plain,
    event_from_plain,
    none_active,
    rebuild,
    reworded,
    step,
    step_anew,
)

DEW = Key(AlertKind.CONDENSATION)
WINDOW = Key(AlertKind.RECOAT_WINDOW, "L1")


def margin(kelvin: float, key: Key = DEW) -> Signal:
    """Raised under 3.0 K, clear above 3.5 K for five minutes."""
    return Signal(key, raised=kelvin < 3.0, clear=kelvin > 3.5, text=f"{kelvin:.1f} K", hold=300.0)


def run(margins: list[float], every: float = 60.0) -> tuple[State, list[Event]]:
    state, said = none_active(), []
    for index, kelvin in enumerate(margins):
        state, events = step(state, [margin(kelvin)], index * every)
        said.extend(events)
    return state, said


def test_a_margin_that_dances_about_its_limit_rings_once() -> None:
    """2.9, 3.1, 2.9, 3.1 … K raises one alert and clears none."""
    _, said = run([2.9, 3.1] * 30)
    assert [event.happening for event in said] == [Happening.RAISED]


def test_an_alert_clears_only_after_its_hold_time_without_a_break() -> None:
    """Four clear minutes, a relapse, then six clear minutes: cleared at the end, not before."""
    _, said = run([2.0] + [4.0] * 4 + [3.2] + [4.0] * 6)
    assert [event.happening for event in said] == [Happening.RAISED, Happening.CLEARED]
    assert said[-1].at == 11 * 60.0


def test_what_cannot_be_seen_is_not_cleared() -> None:
    """With no signal at all, an alert stands for ever."""
    state, _ = run([2.0])
    after, events = step(state, [], 1e9)
    assert after == state
    assert events == ()


def test_an_alert_rings_when_its_meaning_changes_and_not_when_a_minute_passes() -> None:
    """Each meaning rings once, however its words move; an acknowledgement lasts until the next."""
    state: State = none_active()
    said = []
    for minute in range(70):
        left = 65 - minute
        means = "closed" if left < 0 else "closing" if left <= 60 else "open"
        signal = Signal(WINDOW, True, clear=False, text=f"before 22:{minute % 7:02}", meaning=means)
        state, events = step(state, [signal], minute * 60.0)
        said += [(left, event.happening) for event in events]
        if events:
            state, _ = acknowledge(state, WINDOW, minute * 60.0)
    assert said == [(65, Happening.RAISED), (60, Happening.CHANGED), (-1, Happening.CHANGED)]
    assert state[WINDOW].acknowledged is not None


def test_what_stands_takes_the_words_of_the_present() -> None:
    """A deadline that moved since it rang is read as it is now; who has seen it and since when stay."""
    rang = Signal(WINDOW, raised=True, clear=False, text="before 22:10", due=100.0, meaning="closing")
    state, _ = step(none_active(), [rang, margin(2.0)], 0.0)
    state, _ = acknowledge(state, WINDOW, 5.0)
    now = reworded(state, [replace(rang, text="before 22:16", due=460.0), margin(4.0)])
    assert (now[WINDOW].text, now[WINDOW].due) == ("before 22:16", 460.0)
    assert (now[WINDOW].since, now[WINDOW].acknowledged, now[WINDOW].meaning) == (0.0, 5.0, "closing")
    assert now[DEW] == state[DEW]


def test_a_go_that_is_over_is_not_shown_where_nobody_steps_the_alerts() -> None:
    """What clears without a hold is gone at once; what must hold its clearness stays, and the unseen, too."""
    chance = Signal(Key(AlertKind.GO_NOW), raised=True, clear=False, text="go now")
    state, _ = step(none_active(), [chance, margin(2.0)], 0.0)
    over = replace(chance, raised=False, clear=True, hold=0.0)
    assert reworded(state, [chance, margin(9.0)]).keys() == state.keys()
    assert reworded(state, [replace(over, clear=False), margin(9.0)]).keys() == state.keys()
    assert reworded(state, []).keys() == state.keys()
    assert reworded(state, [replace(over, hold=0.25), margin(9.0)]).keys() == state.keys()
    assert reworded(state, [over, margin(9.0)]).keys() == {DEW}


def test_acknowledging_twice_or_what_does_not_stand_says_nothing() -> None:
    """An acknowledgement is an event once."""
    state, _ = run([2.0])
    state, first = acknowledge(state, DEW, 10.0)
    _, second = acknowledge(state, DEW, 20.0)
    _, none = acknowledge(state, WINDOW, 20.0)
    assert [event.happening for event in first] == [Happening.ACKNOWLEDGED]
    assert second == none == ()


@given(
    some.lists(some.tuples(some.sampled_from([DEW, WINDOW]), some.floats(0, 8), some.booleans()), max_size=60)
)
def test_the_state_after_a_restart_is_the_state_before_it(story: list[tuple[Key, float, bool]]) -> None:
    """Rebuilt from its events through JSON, the same alerts stand, as urgent, as acknowledged."""
    state: State = none_active()
    said: list[Event] = []
    for index, (key, kelvin, seen) in enumerate(story):
        state, events = step(state, [margin(kelvin, key)], index * 120.0)
        said.extend(events)
        if seen:
            state, events = acknowledge(state, key, index * 120.0 + 1)
            said.extend(events)
    stored = [json.loads(json.dumps(event_as_plain(event))) for event in said]
    again = rebuild(event_from_plain(plain) for plain in stored)
    assert {key: (one.since, one.acknowledged, one.meaning, one.told) for key, one in again.items()} == {
        key: (one.since, one.acknowledged, one.meaning, one.told) for key, one in state.items()
    }


STALLS = Key(AlertKind.STALL, "L1")
SILENT = Key(AlertKind.SENSOR_LOST, "bench")


def signal(key: Key, raised: bool, clear: bool | None = None, meaning: str = "") -> Signal:
    return Signal(key, raised, (not raised) if clear is None else clear, "now", meaning=meaning, hold=1800.0)


def test_what_was_withdrawn_leaves_no_alert_standing_for_its_hold_time() -> None:
    """Raised by the slip: over at the next look. Raised before it, or of a sensor: held as ever."""
    before, _ = step(none_active(), [signal(WINDOW, True)], 0.0)
    state, _ = step(before, [signal(WINDOW, True), signal(STALLS, True), signal(SILENT, True)], 60.0)
    quiet = [signal(WINDOW, False), signal(STALLS, False), signal(SILENT, False)]
    held, _ = step(state, quiet, 120.0)
    assert held.keys() == {WINDOW, STALLS, SILENT}
    after, events = step_anew(state, before, quiet, 120.0)
    assert after.keys() == {WINDOW, SILENT}
    assert [(event.key, event.happening) for event in events] == [(STALLS, Happening.CLEARED)]


def test_a_signal_in_its_gap_raises_nothing_that_had_not_stood() -> None:
    """Nor is anything left where withdrawn words had raised it, and it is neither raised nor clear."""
    gap = [signal(STALLS, False, clear=False)]
    assert step_anew(none_active(), none_active(), gap, 120.0) == ({}, ())
    by_a_slip, _ = step(none_active(), [signal(STALLS, True)], 60.0)
    assert step_anew(by_a_slip, none_active(), gap, 120.0)[0] == {}


def test_what_the_withdrawn_words_had_silenced_or_changed_rings_again() -> None:
    """A window that had closed rings with its true meaning; one in its gap that had stood stands again."""
    before, _ = step(none_active(), [signal(STALLS, True)], 0.0)
    state, _ = step({}, [signal(WINDOW, True, meaning="closed")], 60.0)
    signals = [signal(WINDOW, True, meaning="open"), signal(STALLS, False, clear=False)]
    after, events = step_anew(state, before, signals, 120.0)
    assert after[WINDOW].meaning == "open"
    assert [event.happening for event in events] == [Happening.CHANGED, Happening.RAISED]
    assert (
        rebuild([Event(Happening.RAISED, WINDOW, 60.0, "now", meaning="closed"), *events])[WINDOW].meaning
        == "open"
    )
    _, later = step(after, [signal(WINDOW, True, meaning="closing")], 180.0)
    assert [event.happening for event in later] == [Happening.CHANGED]


def test_a_meaning_told_already_rings_again_only_where_it_may_and_once_it_has_settled() -> None:
    """Open, not fit, open: the last rings after half an hour, and never while it comes and goes."""
    state, rung = none_active(), list[tuple[int, str]]()

    def look(minute: int, meaning: str, *, again: bool = True) -> None:
        nonlocal state
        one = replace(signal(WINDOW, True, meaning=meaning), again=again)
        state, events = step(state, [one], minute * 60.0)
        rung.extend((minute, event.meaning) for event in events)

    look(0, "open")
    look(15, "not-fit")
    for minute in range(20, 80, 10):  # comes and goes
        look(minute, "open" if minute % 20 else "not-fit")
    assert rung == [(0, "open"), (15, "not-fit")]
    for minute in (80, 95, 99, 100, 125):
        look(minute, "open")
    assert rung[2:] == [(100, "open")]
    for minute in range(130, 260, 10):
        look(minute, "not-fit", again=False)
    assert len(rung) == 3


def test_unless_told_otherwise_five_clear_minutes_end_an_alert_and_a_told_meaning_rings_no_more() -> None:
    """Not at 299 s; and "open" after "closed" is no news, however long it lasts."""
    dewy, dry = (Signal(DEW, raised, not raised, "now") for raised in (True, False))
    state, _ = step(none_active(), [dewy], 0.0)
    for at, events_expected in ((10.0, 0), (309.0, 0), (310.0, 1)):
        state, events = step(state, [dry], at)
        assert len(events) == events_expected
    rung = 0
    for at, meaning in ((0.0, "open"), (60.0, "closed"), (120.0, "open"), (9e3, "open"), (9e4, "open")):
        state, events = step(state, [Signal(WINDOW, True, False, "now", meaning=meaning)], at)
        rung += len(events)
    assert rung == 2


def test_a_meaning_that_only_withdrawn_words_had_made_old_rings_again() -> None:
    """Open, then closing by a slip: once that is withdrawn, open rings anew. With no slip it does not."""
    state, _ = step(none_active(), [signal(WINDOW, True, meaning="open")], 0.0)
    state, _ = step(state, [signal(WINDOW, True, meaning="closing")], 60.0)
    now = [signal(WINDOW, True, meaning="open")]
    assert [event.happening for event in step_anew(state, {}, now, 120.0)[1]] == [Happening.CHANGED]
    assert step(state, now, 120.0)[1] == ()
    same, events = step_anew(state, {}, [signal(WINDOW, True, meaning="closing")], 120.0)
    assert (same[WINDOW].told, events) == (frozenset({"open", "closing"}), ())
