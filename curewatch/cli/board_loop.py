"""Keeping the board: look at the logbook, draw, take a key, until somebody leaves.

A full look (advice, running layers, chart) is taken every half minute and whenever something was
written down; in between only the clock moves on. Nothing here decides what is shown: ``screens.board``
does, from the look and the time.
"""

import signal
from collections.abc import Callable
from dataclasses import dataclass

from msgspec import structs
from rich.console import Console

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import ActiveAlert
from curewatch.answers.watch import WatchDocument
from curewatch.cli.gathering import gather, sensors
from curewatch.cli.screens.board import board
from curewatch.cli.screens.board_lines import changes, status
from curewatch.cli.whole_screen import WholeScreen, whole_screen
from curewatch.clock import Clock, utc_from_iso
from curewatch.configuration import Configuration
from curewatch.logbook import Entry, LogbookStore
from curewatch.shed import active_alerts
from curewatch.wording import Wording, plain_wording

LOOK_EVERY = 30.0  # s between two full looks
GLANCE_EVERY = 2.0  # s between two looks at the sensors' last words
TELL_EVERY = 900.0  # s between two full tellings in plain lines


@dataclass(slots=True)
class Watched:
    """What the loop looks at: one logbook, one configuration, and who keeps it."""

    logbook: LogbookStore
    configuration: Configuration
    daemon: Callable[[], str]  # words about who keeps the logbook; raises when that one failed
    clock: Clock
    words: Wording

    def look(self) -> WatchDocument:
        """Everything, now."""
        return gather(self.logbook, self.configuration, self.clock.now().utc, self.daemon())

    def glance(self, before: WatchDocument) -> WatchDocument:
        """The sensors' last words alone."""
        now = self.clock.now().utc
        return structs.replace(
            before, sensors=sensors(self.logbook, self.configuration, now), daemon=self.daemon()
        )

    def mark(self) -> int:
        """Changes when somebody wrote an entry: a layer, an alert, an acknowledgement."""
        return self.logbook.head().entries


def keep_screen(watched: Watched, console: Console) -> int:
    """The board on the whole terminal; the exit status when somebody left or the program was ended."""
    with whole_screen(console) as screen:
        return _turn_round(watched, screen)


def _turn_round(watched: Watched, screen: WholeScreen) -> int:
    state, mark = watched.look(), watched.mark()
    looked = glanced = watched.clock.now().monotonic
    heard = _unacknowledged(state)  # what stood before we looked has rung already
    while screen.ended_by is None:
        now = watched.clock.now()
        if now.monotonic - looked >= LOOK_EVERY or watched.mark() != mark:
            state, mark, looked = watched.look(), watched.mark(), now.monotonic
        elif now.monotonic - glanced >= GLANCE_EVERY:
            before, state, glanced = state, watched.glance(state), now.monotonic
            if _health(before) != _health(state):
                state, looked = watched.look(), now.monotonic
        if not _unacknowledged(state) <= heard:
            screen.ring()
        heard = _unacknowledged(state)
        screen.draw(board(state, now.utc, watched.words, *screen.size()))
        match screen.key(1.0 - now.utc % 1.0):
            case "q" | "Q":
                return 0
            case "a" | "A":
                acknowledge(watched.logbook, now.utc, watched.words)
            case "\f":  # Ctrl-L
                screen.forget()
    return 0 if screen.ended_by is signal.SIGINT else 128 + screen.ended_by


def _unacknowledged(state: WatchDocument) -> set[tuple[str, str, int]]:
    """Alerts nobody has acknowledged, with how urgent they are: a new one rings, and a more urgent one."""
    return {
        (alert.alert, alert.subject, alert.urgency) for alert in state.alerts if alert.acknowledged is None
    }


def _health(state: WatchDocument) -> list[tuple[str, str, bool]]:
    """What of the sensors makes another answer likely: a first word, or a silence."""
    return [(sensor.sensor, sensor.health, sensor.time is None) for sensor in state.sensors]


def acknowledge(logbook: LogbookStore, now: float, words: Wording) -> ActiveAlert | None:
    """The oldest alert that nobody has seen is seen now; it is written down and the daemon takes it up."""
    unacknowledged = [alert for alert in active_alerts.active(logbook).values() if alert.acknowledged is None]
    if not unacknowledged:
        return None
    first = min(unacknowledged, key=lambda alert: alert.since)
    _, events = alerts.acknowledge({first.key: first}, first.key, now)
    plainly = plain_wording(words.zone)
    logbook.append(
        entries=[Entry("alert", alerts.event_as_plain(event, plainly), event.at) for event in events]
    )
    return first


def keep_lines(watched: Watched, tell: Callable[[str], None], ended: Callable[[], bool]) -> int:
    """The board as lines: all of it now and every quarter of an hour, what changed in between."""
    state, mark = watched.look(), watched.mark()
    told = watched.clock.now().monotonic
    for line in status(state, utc_from_iso(state.at), watched.words):
        tell(line)
    while not ended():
        watched.clock.sleep(1.0)
        now = watched.clock.now()
        if watched.mark() == mark and now.monotonic - told < LOOK_EVERY:
            continue
        before, state, mark = state, watched.look(), watched.mark()
        whole = now.monotonic - told >= TELL_EVERY
        for line in (status if whole else _changed(before))(state, now.utc, watched.words):
            tell(line)
        told = now.monotonic if whole else told
    return 0


def _changed(before: WatchDocument) -> Callable[[WatchDocument, float, Wording], list[str]]:
    return lambda state, now, words: changes(before, state, now, words)
