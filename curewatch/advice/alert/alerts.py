"""Alerts: raised once, acknowledged, cleared, with hysteresis; a pure state machine.

Theory of operation
-------------------
``advice.alert.watchers`` and ``advice.alert.openings`` turn the present into :class:`Signal` values: one
for each thing to tell, each with a *meaning*. :func:`step` compares them with what is already active and
says what changed. An alert is raised when its signal is ``raised``. It rings again only when its meaning
changes, never because a minute passed or a number moved. A meaning that was told already rings again only
where the signal allows it, and only after :data:`SETTLED`. The alert clears only after its signal has been
``clear`` without a break for its hold time. Between the two levels, and while a signal is unknown
(absent), it keeps its state. So a margin that dances about its limit rings once.

Law: every event is a plain value; feeding the events of the past to :func:`rebuild` gives the state
they came from. That is how alerts survive a restart.
"""

from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from typing import Any, NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from curewatch.clock import iso_utc, utc_from_iso
from curewatch.phrases import Said, recalled
from curewatch.wording import Wording, kept, plain_wording


class AlertKind(StrEnum):
    """What an alert is about."""

    PEEL_PLY = "peel-ply-needed"
    RECOAT_WINDOW = "recoat-window"
    CONDENSATION = "condensation"
    STALL = "cure-stalls"
    POT = "pot-warming"
    OWN_HEAT = "layer-heating"
    PRIMER = "laminate-on-primer"
    PROBE = "probe-lost"
    SENSOR_LOST = "sensor-lost"  # nothing comes from it
    SENSOR_DOUBTED = "sensor-doubted"  # what comes from it cannot be trusted
    COPY = "copy-refused"  # a fleet does not follow this logbook, or looks at its shed, too
    GO_NOW = "go-now"
    TONIGHT = "tonight"


class Happening(StrEnum):
    """What became of an alert."""

    RAISED = "raised"
    CHANGED = "changed"  # it means something else than when it last rang
    ACKNOWLEDGED = "acknowledged"
    CLEARED = "cleared"


class Key(NamedTuple):
    """One alert is one kind about one subject: a layer, a sensor, or the shed ("")."""

    kind: AlertKind
    subject: str = ""

    @property
    def of_layer(self) -> bool:
        """Whether it hangs on what is known of a layer and its resin."""
        return self.kind in OF_LAYER


OF_LAYER = {
    *(AlertKind.PEEL_PLY, AlertKind.RECOAT_WINDOW, AlertKind.STALL),
    *(AlertKind.POT, AlertKind.OWN_HEAT, AlertKind.PROBE),
}
SETTLED = 1800.0  # s without a break before a meaning that was told already rings again (assumed)


class Signal(Struct, frozen=True):
    """What the present says about one possible alert.

    ``raised`` and ``clear`` are two levels with a gap between them: both false is the gap.
    """

    key: Key
    raised: bool
    clear: bool
    text: Said  # what is the matter, one line
    advised: Said = ""  # what to do about it
    due: float | None = None  # UTC, what the text counts down to [s]
    meaning: str = ""  # a code; another one rings again
    again: bool = False  # rings also for a meaning that was told already
    hold: float = 300.0  # s without a break that clear must last before the alert clears


class ActiveAlert(Struct, frozen=True):
    """One active alert."""

    key: Key
    since: float  # UTC [s]
    text: Said
    advised: Said
    due: float | None
    meaning: str = ""  # with which it last rang
    told: frozenset[str] = frozenset()  # every meaning with which it rang
    acknowledged: float | None = None  # UTC [s]
    clear_since: float | None = None  # UTC; when its signal turned clear, while it holds [s]
    other_since: float | None = None  # UTC; since when its signal means something else that was told [s]


class Event(Struct, frozen=True):
    """One change of one alert: what is stored, shown, published."""

    happening: Happening
    key: Key
    at: float  # UTC [s]
    text: Said
    advised: Said = ""
    due: float | None = None
    meaning: str = ""


State = Mapping[Key, ActiveAlert]  # bounded: one entry per key, and keys name layers and sensors at hand


def none_active() -> State:
    """The state before anything was ever raised."""
    return {}


def step(state: State, signals: Iterable[Signal], now: float) -> tuple[State, tuple[Event, ...]]:
    """The state after these signals, and what changed. ``now`` [s].

    Active alerts without a signal keep their state: what cannot be seen is not cleared.
    """
    after = dict(state)
    events: list[Event] = []
    for signal in signals:
        active = after.get(signal.key)
        if active is None:
            if signal.raised:
                after[signal.key] = _raise(signal, now)
                events.append(_event(Happening.RAISED, signal, now))
        elif signal.raised:
            rings = _rings(active, signal, now)
            after[signal.key] = _keep_active(active, signal, now, rings=rings)
            if rings:
                events.append(_event(Happening.CHANGED, signal, now))
        elif signal.clear:
            clear_since = now if active.clear_since is None else active.clear_since
            if now - clear_since >= signal.hold:
                del after[signal.key]
                events.append(_event(Happening.CLEARED, signal, now))
            else:
                after[signal.key] = replace(active, clear_since=clear_since)
        else:
            after[signal.key] = replace(active, clear_since=None)
    return after, tuple(events)


def step_anew(
    state: State, before: State, signals: Iterable[Signal], now: float
) -> tuple[State, tuple[Event, ...]]:
    """As :func:`step`, after something that was told was withdrawn or corrected. ``now`` [s].

    Alerts about layers are judged as if it had never been told: none of them waits for its hold time,
    keeps a meaning that no longer holds, or stays away because of it.

    Parameters
    ----------
    before : State
        What was active when that was told.
    """
    after, events = state, list[Event]()
    for signal in signals:
        told = signal
        if signal.key.of_layer:
            after, told = _anew(after, signal, was_active=signal.key in before)
        after, changed = step(after, [told], now)
        events += changed
    return after, tuple(events)


def _anew(state: State, signal: Signal, *, was_active: bool) -> tuple[State, Signal]:
    """State and signal without what only the withdrawn words had made of them."""
    active = state.get(signal.key)
    if active is None:
        return state, replace(signal, raised=signal.raised or (was_active and not signal.clear))
    if signal.raised and signal.meaning != active.meaning:
        return {**state, signal.key: replace(active, told=frozenset())}, signal  # rings again
    if not signal.raised and not was_active:
        return state, replace(signal, clear=True, hold=0.0)
    return state, signal


def reworded(state: State, signals: Iterable[Signal]) -> State:
    """What is active, in the words of these signals; without what they clear at once, as a go that is over.

    Who steps the state has cleared that already. Who only looks may look where nobody steps it any more.
    """
    present = {signal.key: signal for signal in signals}
    found: dict[Key, ActiveAlert] = {}
    for key, alert in state.items():
        now = present.get(key)
        if now is not None and now.raised:
            found[key] = replace(alert, text=now.text, advised=now.advised, due=now.due)
        elif now is None or not now.clear or now.hold > 0.0:
            found[key] = alert
    return found


def acknowledge(state: State, key: Key, now: float) -> tuple[State, tuple[Event, ...]]:
    """Somebody has acknowledged it: it stays, and is quiet until its meaning changes. ``now`` [s]."""
    active = state.get(key)
    if active is None or active.acknowledged is not None:
        return state, ()
    event = Event(Happening.ACKNOWLEDGED, key, now, active.text, active.advised, active.due, active.meaning)
    return {**state, key: replace(active, acknowledged=now)}, (event,)


def rebuild(events: Iterable[Event]) -> State:
    """The state that these events, oldest first, lead to: what is active after a restart."""
    state: dict[Key, ActiveAlert] = {}
    for event in events:
        if event.happening is Happening.CLEARED:
            state.pop(event.key, None)
        elif event.happening is Happening.ACKNOWLEDGED:
            if event.key in state:
                state[event.key] = replace(state[event.key], acknowledged=event.at)
        else:
            before = state.get(event.key)
            state[event.key] = ActiveAlert(
                event.key,
                event.at if before is None else before.since,
                event.text,
                event.advised,
                event.due,
                event.meaning,
                frozenset({event.meaning}) | (frozenset() if before is None else before.told),
            )
    return state


def event_as_plain(event: Event, words: Wording | None = None) -> dict[str, Any]:
    """An event as plain values for the logbook, JSON and MQTT; its texts by ``words``, or in SI and UTC."""
    return {
        "happening": str(event.happening),
        "alert": str(event.key.kind),
        "subject": event.key.subject,
        "at": iso_utc(event.at),
        **kept(words or plain_wording(), event.at, text=event.text, advised=event.advised),
        "due": None if event.due is None else iso_utc(event.due),
        "meaning": event.meaning,
    }


def event_from_plain(stored: Mapping[str, Any]) -> Event:
    """The event that :func:`event_as_plain` wrote.

    Raises
    ------
    KeyError, ValueError
        It is not such an event.
    """
    due = stored["due"]
    return Event(
        Happening(stored["happening"]),
        Key(AlertKind(stored["alert"]), str(stored["subject"])),
        utc_from_iso(stored["at"]),
        recalled(stored, "text"),
        recalled(stored, "advised"),
        None if due is None else utc_from_iso(due),
        str(stored["meaning"]),
    )


def events_told(payloads: Iterable[Mapping[str, Any]]) -> Iterator[Event]:
    """The events among these payloads; what another program wrote in a form of its own is passed over."""
    for payload in payloads:
        try:
            yield event_from_plain(payload)
        except (KeyError, TypeError, ValueError):
            continue


def _raise(signal: Signal, now: float) -> ActiveAlert:
    told = frozenset({signal.meaning})
    return ActiveAlert(signal.key, now, signal.text, signal.advised, signal.due, signal.meaning, told)


def _rings(active: ActiveAlert, signal: Signal, now: float) -> bool:
    """Whether it means something new; or, where that may ring, something told already that has settled."""
    if signal.meaning == active.meaning:
        return False
    if signal.meaning not in active.told:
        return True
    return signal.again and active.other_since is not None and now - active.other_since >= SETTLED


def _keep_active(active: ActiveAlert, signal: Signal, now: float, *, rings: bool) -> ActiveAlert:
    """Its words follow the present; when it rings it must be acknowledged anew."""
    other = signal.meaning != active.meaning and not rings
    kept = replace(
        active,
        text=signal.text,
        advised=signal.advised,
        due=signal.due,
        clear_since=None,
        other_since=(now if active.other_since is None else active.other_since) if other else None,
    )
    if not rings:
        return kept
    return replace(kept, meaning=signal.meaning, told=active.told | {signal.meaning}, acknowledged=None)


def _event(happening: Happening, signal: Signal, now: float) -> Event:
    return Event(happening, signal.key, now, signal.text, signal.advised, signal.due, signal.meaning)
