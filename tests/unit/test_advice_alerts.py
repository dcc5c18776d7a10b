"""Alerts ring once, ring again only when more urgent, and survive a restart."""

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as some

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
BEFORE = Key(AlertKind.LAMINATE_BEFORE, "L1")


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


def test_a_countdown_rings_at_sixty_thirty_and_ten_minutes_and_not_between() -> None:
    """Each urgency rings once; an acknowledgement lasts until the next."""
    state: State = none_active()
    said = []
    for minute in range(70):
        left = 65 - minute
        urgency = sum(left <= ahead for ahead in (60, 30, 10))
        signal = Signal(BEFORE, urgency > 0, clear=False, text="laminate again before 22:10", urgency=urgency)
        state, events = step(state, [signal], minute * 60.0)
        said += [(left, event.happening) for event in events]
        if events:
            state, _ = acknowledge(state, BEFORE, minute * 60.0)
    assert said == [(60, Happening.RAISED), (30, Happening.RENEWED), (10, Happening.RENEWED)]
    assert state[BEFORE].acknowledged is not None


def test_what_stands_takes_the_words_of_the_present() -> None:
    """A deadline that moved since it rang is read as it is now; who has seen it and since when stay."""
    rang = Signal(BEFORE, raised=True, clear=False, text="before 22:10", due=100.0, urgency=1)
    state, _ = step(none_active(), [rang, margin(2.0)], 0.0)
    state, _ = acknowledge(state, BEFORE, 5.0)
    now = reworded(state, [replace(rang, text="before 22:16", due=460.0), margin(4.0)])
    assert (now[BEFORE].text, now[BEFORE].due) == ("before 22:16", 460.0)
    assert (now[BEFORE].since, now[BEFORE].acknowledged, now[BEFORE].urgency) == (0.0, 5.0, 1)
    assert now[DEW] == state[DEW]


def test_acknowledging_twice_or_what_does_not_stand_says_nothing() -> None:
    """An acknowledgement is an event once."""
    state, _ = run([2.0])
    state, first = acknowledge(state, DEW, 10.0)
    _, second = acknowledge(state, DEW, 20.0)
    _, none = acknowledge(state, BEFORE, 20.0)
    assert [event.happening for event in first] == [Happening.ACKNOWLEDGED]
    assert second == none == ()


@given(
    some.lists(some.tuples(some.sampled_from([DEW, BEFORE]), some.floats(0, 8), some.booleans()), max_size=60)
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
    assert {key: (one.since, one.acknowledged, one.urgency) for key, one in again.items()} == {
        key: (one.since, one.acknowledged, one.urgency) for key, one in state.items()
    }


MISSED = Key(AlertKind.WINDOW_MISSED, "L1")
SILENT = Key(AlertKind.SENSOR, "bench")


def signal(key: Key, raised: bool, clear: bool | None = None, urgency: int = 0) -> Signal:
    return Signal(key, raised, (not raised) if clear is None else clear, "now", urgency=urgency, hold=1800.0)


def test_what_was_withdrawn_leaves_no_alert_standing_for_its_hold_time() -> None:
    """Raised by the slip: over at the next look. Raised before it, or of a sensor: held as ever."""
    before, _ = step(none_active(), [signal(BEFORE, True)], 0.0)
    state, _ = step(before, [signal(BEFORE, True), signal(MISSED, True), signal(SILENT, True)], 60.0)
    quiet = [signal(BEFORE, False), signal(MISSED, False), signal(SILENT, False)]
    held, _ = step(state, quiet, 120.0)
    assert held.keys() == {BEFORE, MISSED, SILENT}
    after, events = step_anew(state, before, quiet, 120.0)
    assert after.keys() == {BEFORE, SILENT}
    assert [(event.key, event.happening) for event in events] == [(MISSED, Happening.CLEARED)]


def test_what_the_withdrawn_words_had_silenced_or_made_urgent_rings_again() -> None:
    """A countdown that had run down rings at its true urgency; one in its gap that had stood stands again."""
    before, _ = step(none_active(), [signal(MISSED, True)], 0.0)
    state, _ = step({}, [signal(BEFORE, True, urgency=3)], 60.0)
    signals = [signal(BEFORE, True, urgency=1), signal(MISSED, False, clear=False)]
    after, events = step_anew(state, before, signals, 120.0)
    assert after[BEFORE].urgency == 1
    assert [event.happening for event in events] == [Happening.RENEWED, Happening.RAISED]
    assert rebuild([Event(Happening.RAISED, BEFORE, 60.0, "now", urgency=3), *events])[BEFORE].urgency == 1
    _, later = step(after, [signal(BEFORE, True, urgency=2)], 180.0)
    assert [event.happening for event in later] == [Happening.RENEWED]
