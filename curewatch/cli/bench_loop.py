"""The page of keys at work: what is typed, what it leads to, what is shown next."""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum

from curewatch import worklog
from curewatch.answers.bench import BenchDocument, BenchKeyDocument
from curewatch.answers.document import sentence_or_none
from curewatch.answers.standing import TELLS_GO, standing
from curewatch.clock import Clock, iso_utc
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError, UsageError
from curewatch.jobs import PART_LONGEST
from curewatch.logbook import LogbookStore
from curewatch.phrases import Said, phrase
from curewatch.shed.active_alerts import NumberedAlert, numbered
from curewatch.units import MINUTE
from curewatch.wording import Wording
from curewatch.worklog import keys, telling
from curewatch.worklog.keys import LABELS, BenchKey, BenchPlace, Pressed
from curewatch.worklog.stock import stock

LOOK_EVERY = MINUTE  # s, at which alerts stand; at once where something was told
BOUNCE = 1.0  # s in which the same key typed again is the same press
CHOICES = 9  # jobs or parts to choose from: one digit each
ESCAPE, ENTERS, RUBS = "\x1b", "\r\n", "\x7f\b"


class Mode(Enum):
    """What is being done on the page."""

    JOB = "Which job?"
    PART = "Which part? n for a new one"
    NEW_PART = "The part's name, then Enter"
    KEYS = ""
    NOTE = "Write the note, then Enter"


WRITES = {Mode.NOTE, Mode.NEW_PART}


@dataclass
class BenchPage:
    """One person at the page; ``typed`` takes each key, ``document`` says what to draw."""

    logbook: LogbookStore
    configuration: Configuration
    words: Wording
    clock: Clock
    job: str = ""
    part: str = ""
    mode: Mode = Mode.JOB
    line: str = ""
    left: bool = False
    written: str = ""
    pressed: list[Pressed] = field(default_factory=list)  # that can still be undone; within a minute
    asked: tuple[BenchKey, Pressed] | None = None  # a press that waits for y or n
    last: tuple[str, float] = ("", 0.0)  # the key before, and when it was typed (monotonic) [s]
    looked: tuple[int, float] = (-1, 0.0)  # the last entry and the minute of the alerts below
    standing: tuple[NumberedAlert, ...] = ()

    def __post_init__(self) -> None:
        """Job and part are chosen where they are not clear: several jobs, and none is guessed."""
        open_ones = self.jobs()
        if not open_ones and not self.job:
            raise UsageError("bench: found no open job. Use `curewatch job open` first")
        if self.job:
            worklog.writable(self.logbook, self.job)
        elif len(open_ones) == 1:
            self.job = open_ones[0]
        self.mode = Mode.JOB if not self.job else Mode.KEYS if self.part else self._after_job()

    # -- what is typed

    def typed(self, text: str) -> None:
        """What came in one read: words while words are asked for, else one key."""
        if self.mode in WRITES:
            self._write(text)
        elif text and not self._bounced(text[0]):
            self._key(text[0])

    def _bounced(self, key: str) -> bool:
        now = self.clock.now().monotonic
        before, self.last = self.last, (key, now)
        return key == before[0] and key.isdigit() and now - before[1] < BOUNCE

    def _key(self, key: str) -> None:
        if key in "qQ":
            self.left = True
        elif self.asked is not None:
            self._answer(key)
        elif key == ESCAPE:
            self.mode = Mode.KEYS if self.job and self.part else self.mode
        elif self.mode is Mode.KEYS:
            self._of_keys(key)
        else:
            self._choose(key)

    def _answer(self, key: str) -> None:
        asked, self.asked = self.asked, None
        if asked is None or key not in "yYnN":
            self.asked = asked
        elif key in "yY":
            self._press(asked[0], sure=True)
        else:
            self.line = "left out; nothing was written"

    def _of_keys(self, key: str) -> None:
        if key in "uU":
            self._undo()
        elif key in "jJ":
            self.mode = Mode.JOB
        elif key in "pP":
            self.mode = Mode.PART
        elif key.isdigit() and 1 <= int(key) <= len(BenchKey):
            chosen = list(BenchKey)[int(key) - 1]
            if chosen is BenchKey.NOTE:
                self.mode, self.written = Mode.NOTE, ""
            else:
                self._press(chosen)

    def _choose(self, key: str) -> None:
        if self.mode is Mode.PART and key in "nN":
            self.mode, self.written = Mode.NEW_PART, ""
            return
        choices = self.jobs() if self.mode is Mode.JOB else self.parts()
        if not (key.isdigit() and 1 <= int(key) <= len(choices)):
            return
        chosen = choices[int(key) - 1]
        if self.mode is Mode.JOB:
            if chosen != self.job:
                self.job, self.part, self.pressed = chosen, "", []
            self.mode = self._after_job()
        else:
            self.part, self.mode = chosen, Mode.KEYS

    def _after_job(self) -> Mode:
        """The part is asked only where the job has several."""
        parts = self.parts()
        if len(parts) > 1:
            return Mode.PART
        self.part = self.part or (parts[0] if parts else "")
        return Mode.KEYS

    def _write(self, text: str) -> None:
        if text == ESCAPE:
            self.mode = Mode.KEYS
        if text.startswith(ESCAPE):
            return
        for letter in text:
            if letter in ENTERS:
                self._written()
                return
            self.written = self.written[:-1] if letter in RUBS else self.written + letter

    def _written(self) -> None:
        mode, self.mode = self.mode, Mode.KEYS
        if mode is Mode.NOTE:
            self._press(BenchKey.NOTE, text=self.written)
        elif " ".join(self.written.split()):
            self.part = " ".join(self.written.split())[:PART_LONGEST]

    # -- what it leads to

    def _place(self) -> BenchPlace:
        now = self.clock.now().utc
        return BenchPlace(self.logbook, self.configuration, self.words, now, self.job, self.part)

    def _press(self, key: BenchKey, *, text: str = "", sure: bool = False) -> None:
        found = self._tried(lambda: keys.press(self._place(), key, text=text, sure=sure))
        if found is not None and found.asks:
            self.asked = key, found
        elif found is not None:
            self.pressed.append(found)
            self.line = self._confirmed(found.said)

    def _undo(self) -> None:
        last = self.pressed[-1] if self.pressed else Pressed("nothing")
        found = self._tried(lambda: keys.undo(self._place(), last))
        if found is not None:
            self.pressed.pop()
            self.line = self._confirmed(found.said)

    def _tried(self, do: Callable[[], Pressed]) -> Pressed | None:
        """What it gives; what is wrong is said in the line, and the page goes on."""
        try:
            return do()
        except CurewatchError as trouble:
            self.line = str(trouble)
            return None

    def _confirmed(self, said: Said) -> str:
        now = self.clock.now().utc
        return f"{self.words.time(now)}  {self.words.say(said, now)}"

    # -- what is shown

    def jobs(self) -> tuple[str, ...]:
        """The open ones, the last opened first."""
        return tuple(reversed(worklog.names(self.logbook, open_only=True)))[:CHOICES]

    def parts(self) -> tuple[str, ...]:
        return keys.parts(worklog.read(self.logbook, self.job))[:CHOICES] if self.job else ()

    def document(self) -> BenchDocument:
        """The page as it stands."""
        now = self.clock.now().utc
        self.pressed = [each for each in self.pressed if each.can_be_undone(now)]
        last = self.pressed[-1] if self.pressed else None
        question = self.asked[1].said if self.asked else ""
        return BenchDocument(
            at=iso_utc(now),
            job=self._titled(self.job) if self.job else "",
            part=self.part,
            layer=sentence_or_none(self._layer(), self.words, now),
            alert=sentence_or_none(self._alert(), self.words, now),
            stock=sentence_or_none(self._stock(), self.words, now),
            keys=[BenchKeyDocument(press=str(at), label=label) for at, label in enumerate(self._labels(), 1)],
            asks=self.mode.value,
            written=self.written if self.mode in WRITES else None,
            line=self.line,
            question=self.words.say(question, now),
            undo_s=None if last is None else int(keys.UNDO_FOR - (now - last.at)),
        )

    def _labels(self) -> tuple[str, ...]:
        if self.mode is Mode.JOB:
            return tuple(self._titled(name) for name in self.jobs())
        return self.parts() if self.mode is Mode.PART else tuple(LABELS.values())

    def _titled(self, name: str) -> str:
        return f"{name} {worklog.read(self.logbook, name).title}".strip()

    def _layer(self) -> Said:
        if not (self.job and self.part):
            return ""
        layer = keys.newest(self._place())
        if layer is None:
            return ""
        return phrase("{layer}, mixed {started:moment}", layer=layer.named, started=layer.started)

    def _alert(self) -> Said:
        """The newest that nobody acknowledged."""
        now = self.clock.now().utc
        if (mark := (self.logbook.head().entries, now // LOOK_EVERY)) != self.looked:
            self.looked, self.standing = mark, self._standing(now)
        waiting = [each.alert for each in self.standing if each.alert.acknowledged is None]
        return max(waiting, key=lambda alert: alert.since).text if waiting else ""

    def _standing(self, now: float) -> tuple[NumberedAlert, ...]:
        """Where no look can be made, as with a wrong resin file, no go stands and the page goes on."""
        try:
            return standing(self.logbook, self.configuration, now)
        except CurewatchError:
            return tuple(each for each in numbered(self.logbook) if each.alert.key.kind not in TELLS_GO)

    def _stock(self) -> Said:
        """What is left; or what is short for the next batch."""
        if not self.configuration.stock or not self.job:
            return ""
        try:
            resin, planned = keys.planned_batch(self._place(), worklog.read(self.logbook, self.job))
        except UsageError:
            return ""
        found = stock(self.logbook, self.configuration, resin)
        if found is None:
            return ""
        return found.short(planned["resin_mass"], telling.added_mass(planned)) or found.said
