"""Keeping the board: look at the logbook, draw, take a key, until somebody leaves.

A full look (advice, running layers, chart) is taken every half minute and whenever something was
written down; in between only the clock moves on. Nothing here decides what is shown: ``screens.board``
does, from the look and the time.
"""

import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from msgspec import structs
from rich.console import Console
from rich.text import Text

from curewatch.advice.alert.alerts import AlertKind, Key
from curewatch.answers.gathering import gather, sensors
from curewatch.answers.sheds import ShedsDocument, shed_line, sheds_document
from curewatch.answers.watch import WatchDocument
from curewatch.cli.screens import sheds
from curewatch.cli.screens.board import board
from curewatch.cli.screens.board_lines import changes, status
from curewatch.cli.whole_screen import WholeScreen, whole_screen
from curewatch.clock import Clock, utc_from_iso
from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.shed import active_alerts
from curewatch.wording import Wording, plain_wording

LOOK_EVERY = 30.0  # s between two full looks
GLANCE_EVERY = 2.0  # s between two looks at the sensors' last words
TELL_EVERY = 900.0  # s between two full tellings in plain lines
SHARE_OF_ALL = 3  # of several sheds' rows: at most this part of the terminal's height
CHOOSE_KEYS = "   1-9 or tab: the board of another shed"


@dataclass(slots=True)
class Watched:
    """What the loop looks at: one logbook, one configuration, and who keeps it."""

    logbook: LogbookStore
    configuration: Configuration
    daemon: Callable[[], str]  # words about who keeps the logbook; raises when that one failed
    clock: Clock
    words: Wording
    again: Callable[[], tuple[Configuration, Wording]] | None = None  # both, as the file has them now

    def look(self) -> WatchDocument:
        """Everything, now."""
        if self.again is not None:
            self.configuration, self.words = self.again()
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


@dataclass(slots=True)
class BoardOfSheds:
    """What is on the whole terminal: the chosen shed's board; of several a row each above it.

    Of the others one is looked at each turn, when its look is old or somebody wrote something down.
    """

    sheds: dict[str, Watched]  # by name; one alone under ''
    asked: str  # the shed that was named; '' if none was
    chosen: str = ""  # the one whose board is shown
    states: dict[str, WatchDocument] = field(default_factory=dict)
    marks: dict[str, int] = field(default_factory=dict)
    looked: dict[str, float] = field(default_factory=dict)  # monotonic [s]
    glanced: float = 0.0  # monotonic, at the chosen one's sensors [s]

    @property
    def watched(self) -> Watched:
        """The chosen shed."""
        return self.sheds[self.chosen]

    @property
    def state(self) -> WatchDocument:
        """What is known of it."""
        return self.states[self.chosen]

    def look(self, shed: str) -> None:
        """Everything of one shed, now."""
        watched = self.sheds[shed]
        self.states[shed], self.marks[shed] = watched.look(), watched.mark()
        self.looked[shed] = watched.clock.now().monotonic

    def look_at_all(self) -> None:
        """The first look; where no shed was chosen, the worst is."""
        for shed in self.sheds:
            self.look(shed)
        self.chosen = self.asked or self._document(0.0).sheds[0].shed

    def turn(self) -> None:
        """Look again where it is time to; else at the last words of the chosen shed's sensors."""
        now = self.watched.clock.now().monotonic
        if self._is_due(self.chosen, now):
            self.look(self.chosen)
        elif now - self.glanced >= GLANCE_EVERY:
            before, self.glanced = self.state, now
            self.states[self.chosen] = self.watched.glance(before)
            if _health(before) != _health(self.state):
                self.look(self.chosen)
        due = [shed for shed in self.sheds if shed != self.chosen and self._is_due(shed, now)]
        if due:
            self.look(min(due, key=self.looked.__getitem__))

    def _is_due(self, shed: str, now: float) -> bool:
        return now - self.looked[shed] >= LOOK_EVERY or self.sheds[shed].mark() != self.marks[shed]

    def choose(self, key: str) -> None:
        """By its number, or the next one."""
        names = list(self.sheds)
        if key == "\t":
            self.chosen = names[(names.index(self.chosen) + 1) % len(names)]
        elif key.isdigit() and 0 < int(key) <= len(names):
            self.chosen = names[int(key) - 1]

    def unacknowledged(self) -> set[tuple[str, ...]]:
        """Alerts of all sheds that nobody has acknowledged, with what they mean."""
        return {(shed, *alert) for shed, state in self.states.items() for alert in _unacknowledged(state)}

    def rows(self, now: float, width: int, height: int) -> list[Text]:
        """The picture."""
        above = self._rows_of_all(now, width, height) if len(self.sheds) > 1 else []
        return [*above, *board(self.state, now, self.watched.words, width, height - len(above))]

    def _rows_of_all(self, now: float, width: int, height: int) -> list[Text]:
        names, most = list(self.sheds), max(2, height // SHARE_OF_ALL)
        shown, words = self._document(now), self.watched.words
        told = sheds.rows(shown, self.chosen, words, keys=names, width=width, most=most)
        return [*told, Text(CHOOSE_KEYS[:width], style="dim")]

    def _document(self, now: float) -> ShedsDocument:
        said = [
            shed_line(shed, state, plain_wording(self.sheds[shed].words.zone))
            for shed, state in self.states.items()
        ]
        return sheds_document(said, now)


def keep_screen(watched: BoardOfSheds, console: Console) -> int:
    """The board on the whole terminal; the exit status when somebody left or the program was ended."""
    with whole_screen(console) as screen:
        return _turn_round(watched, screen)


def _turn_round(shown: BoardOfSheds, screen: WholeScreen) -> int:
    shown.look_at_all()
    shown.glanced = shown.looked[shown.chosen]
    heard = shown.unacknowledged()  # what stood before we looked has rung already
    while screen.ended_by is None:
        shown.turn()
        if not shown.unacknowledged() <= heard:
            screen.ring()
        heard = shown.unacknowledged()
        now = shown.watched.clock.now()
        screen.draw(shown.rows(now.utc, *screen.size()))
        match screen.key(1.0 - now.utc % 1.0):
            case "q" | "Q":
                return 0
            case "a" | "A":
                acknowledge(shown.watched.logbook, shown.state, now.utc, shown.watched.words)
            case "\f":  # Ctrl-L
                screen.forget()
            case key:
                shown.choose(key)
    return 0 if screen.ended_by is signal.SIGINT else 128 + screen.ended_by


def _unacknowledged(state: WatchDocument) -> set[tuple[str, str, str]]:
    """Alerts nobody has acknowledged, with what they mean: a new one rings, and a new meaning."""
    return {
        (alert.alert, alert.subject, alert.meaning) for alert in state.alerts if alert.acknowledged is None
    }


def _health(state: WatchDocument) -> list[tuple[str, str, bool]]:
    """What of the sensors makes another answer likely: a first word, or a silence."""
    return [(sensor.sensor, sensor.health, sensor.time is None) for sensor in state.sensors]


def acknowledge(logbook: LogbookStore, shown: WatchDocument, now: float, words: Wording) -> None:
    """The oldest alert shown that nobody has seen is seen now; the daemon takes up what is written down."""
    active = active_alerts.active(logbook)
    keys = (Key(AlertKind(alert.alert), alert.subject) for alert in shown.alerts)
    waiting = [active[key] for key in keys if key in active and active[key].acknowledged is None]
    if waiting:
        first = min(waiting, key=lambda alert: alert.since)
        active_alerts.acknowledge(logbook, [first], None, now, words)


def keep_lines(shown: BoardOfSheds, tell: Callable[[str], None], ended: Callable[[], bool]) -> int:
    """The board as lines: all of it now and every quarter of an hour, what changed in between."""
    tellings = tell_all(shown, tell)
    clock = next(iter(shown.sheds.values())).clock
    while not ended():
        clock.sleep(1.0)
        for each in tellings:
            next(each)
    return 0


def tell_all(shown: BoardOfSheds, tell: Callable[[str], None]) -> list[Iterator[None]]:
    """Tell once of the shed that was asked for, or of each; what is given back goes on at each turn."""
    several = len(shown.sheds) > 1
    tellings = [
        _telling(watched, f"[{shed}] " if several else "", tell)
        for shed, watched in shown.sheds.items()
        if shown.asked in {"", shed}
    ]
    for each in tellings:
        next(each)
    return tellings


def _telling(watched: Watched, whose: str, tell: Callable[[str], None]) -> Iterator[None]:
    """Tell of one shed: all of it at first, then at each turn what there is to tell."""
    state, mark = watched.look(), watched.mark()
    told = watched.clock.now().monotonic
    for line in status(state, utc_from_iso(state.at), watched.words):
        tell(f"{whose}{line}")
    while True:
        yield
        now = watched.clock.now()
        if watched.mark() == mark and now.monotonic - told < LOOK_EVERY:
            continue
        before, state, mark = state, watched.look(), watched.mark()
        whole = now.monotonic - told >= TELL_EVERY
        for line in (status if whole else _changed(before))(state, now.utc, watched.words):
            tell(f"{whose}{line}")
        told = now.monotonic if whole else told


def _changed(before: WatchDocument) -> Callable[[WatchDocument, float, Wording], list[str]]:
    return lambda state, now, words: changes(before, state, now, words)
