"""Thinking about the advice: what the logbook knows in, entries, documents and lines out.

Called by the loop when the core asks for it. Everything it says is first stored, then published and
shown, like everything else.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from curewatch.advice.alert import alerts, primer, watchers
from curewatch.advice.alert.alerts import Event, Happening, Signal
from curewatch.advice.judge.answer import Advice, Verdict
from curewatch.answers import last_look
from curewatch.answers.document import plain
from curewatch.answers.mqtt import MqttAlertsDocument, mqtt_alerts_document
from curewatch.answers.tonight import TonightDocument, tonight_document
from curewatch.answers.values import plain_values, senml_pack, values_document
from curewatch.clock import Instant
from curewatch.configuration import Configuration
from curewatch.daemon.events import STARTED, Again, Publish, Remember, Show
from curewatch.logbook import Entry, LogbookStore, StoredEntry
from curewatch.phrases import phrase
from curewatch.shed.active_alerts import active
from curewatch.shed.clock_watch import NOT_BEFORE
from curewatch.shed.look import Look
from curewatch.shed.past_grid import PastGrid
from curewatch.wording import kept, plain_wording
from curewatch.worklog.stock import short_for_batch

Said = Entry | Publish | Show | Remember | Again


class LookMemory(NamedTuple):
    """What one look must know of those before it."""

    alerts: alerts.State
    read: int  # number of the last alert entry taken up
    verdict: str
    corrected: int  # number of the last correction taken up


class Evaluation:
    """Keeps which alerts stand and what the last verdict was; a restart takes both from the logbook."""

    def __init__(
        self,
        configuration: Configuration,
        logbook: LogbookStore,
        *,
        not_before: float = NOT_BEFORE,
        memory: LookMemory | None = None,
    ) -> None:
        self._not_before = not_before
        self._configuration = configuration
        self._plain = plain_wording(configuration.zone)  # how texts are stored and published
        self._logbook = logbook
        self._grid = PastGrid()  # whoever asks again reads only what is new
        self._alerts, self._read, self._verdict, self._corrected = memory or _restored(logbook)

    @property
    def memory(self) -> LookMemory:
        return LookMemory(self._alerts, self._read, self._verdict, self._corrected)

    def __call__(self, at: Instant, reason: str) -> tuple[Said, ...]:
        """The answer for a start now, the running layers and the alerts, as far as they changed."""
        now, stands = at.utc, self._logbook.head()  # what comes in while this looks is not in it
        seen_since = self._take_up_acknowledgements()
        corrections = self._logbook.entries("correction", after=self._corrected)  # before what they change
        look = Look(
            self._logbook,
            self._configuration,
            now,
            not_before=self._not_before,
            active=self._alerts,
            listening=reason == STARTED,
            grid=self._grid,
        )
        events = self._step(look.signals, corrections, now)
        pots = (pot.use_until for pot in look.further_pots)
        kept_look = last_look.looked(look, self._logbook, at, stands)
        further = (look.daily_hour(), *pots, *primer.marks(look.primers), _next_moment(kept_look))
        mark = watchers.next_mark(look.progress, now, *further)
        return (
            *seen_since,
            *(() if _early(look.advice, reason) else self._told(look.advice, now)),
            *(said for event in events for said in self._told_of(event)),
            *(Show("layer", now, text, {}, loud=True) for text in _not_followed(look)),
            Publish("advice", plain(self._tonight(look))),
            Publish("alerts", plain(self._active(look))),
            *_values(look),
            Remember(last_look.NOTE, last_look.as_note(kept_look)),
            *(() if mark is None else (Again(mark),)),
        )

    def _tonight(self, look: Look) -> TonightDocument:
        short = short_for_batch(self._logbook, self._configuration, look.question)
        return tonight_document(look.advice, self._plain, look.pulls(look.question), short)

    def _active(self, look: Look) -> MqttAlertsDocument:
        return mqtt_alerts_document(self._alerts.values(), look.running, look.at, self._plain)

    # ---- the verdict

    def _told(self, advice: Advice, now: float) -> Iterator[Said]:
        """The verdict, where it is another than before."""
        verdict = str(advice.verdict)
        if verdict == self._verdict:
            return
        payload = {
            "verdict": verdict,
            "was": self._verdict,
            **kept(self._plain, now, headline=advice.headline),
            "resin": advice.resin,
        }
        self._verdict = verdict
        yield Entry("verdict", payload, now)
        text = phrase("{verdict}: {headline}", verdict=verdict, headline=advice.headline)
        yield Show("verdict", now, text, payload, loud=verdict != "go")

    # ---- alerts

    def _step(
        self, signals: Iterable[Signal], corrections: Sequence[StoredEntry], now: float
    ) -> tuple[Event, ...]:
        """What changed; what was corrected since the last look is judged as if it had always been so."""
        if corrections:
            self._corrected = corrections[-1].number
            corrected = (one.payload.get("corrects") for one in corrections)
            first = min((number for number in corrected if isinstance(number, int)), default=0)
            before = active(self._logbook, before=first)
            self._alerts, events = alerts.step_anew(self._alerts, before, signals, now)
        else:
            self._alerts, events = alerts.step(self._alerts, signals, now)
        return events

    def _told_of(self, event: Event) -> Iterator[Said]:
        stored = alerts.event_as_plain(event, self._plain)
        loud = event.happening in {Happening.RAISED, Happening.CHANGED}
        yield Entry("alert", stored, event.at)
        became = phrase("{became}: {text}", became=str(event.happening), text=event.text)
        yield Show("alert", event.at, event.text if loud else became, stored, loud)

    def _take_up_acknowledgements(self) -> list[Said]:
        """Somebody at another terminal saw an alert: it is in the logbook already, here it is only told."""
        told: list[Said] = []
        for entry in self._logbook.entries("alert", after=self._read):
            self._read = entry.number
            for event in alerts.events_told([entry.payload]):
                if event.happening is not Happening.ACKNOWLEDGED:
                    continue
                self._alerts, events = alerts.acknowledge(self._alerts, event.key, entry.at)
                told += [said for event in events for said in self._told_of(event) if isinstance(said, Show)]
        return told


def _next_moment(kept_look: last_look.LastLook) -> float | None:
    """When the first moment that is told of a layer comes, where that is before the next look. [UTC s]"""
    return kept_look.until_s if kept_look.until_s < kept_look.at_s + last_look.LASTS else None


def _early(advice: Advice, reason: str) -> bool:
    """An unknown that may rest on silence alone, before the sensors had time to report."""
    return reason == STARTED and advice.verdict is Verdict.UNKNOWN


def _values(look: Look) -> Iterator[Publish]:
    values = values_document(look.advice, look.situation)
    yield from (Publish(f"values/{name}", text) for name, text in plain_values(values).items())
    yield Publish("senml", senml_pack(values))


def _not_followed(look: Look) -> Iterator[str]:
    """Layers of which nothing can be told; where the air is not known, its sensor's own alert says so."""
    if look.outlook is not None:
        yield from (f"{each.layer.layer} {each.reason}" for each in look.running if each.progress is None)


def _restored(logbook: LogbookStore) -> LookMemory:
    """What stood when the last daemon ended still stands."""
    found = logbook.entries("alert")
    verdicts = logbook.entries("verdict")
    last = found[-1].number if found else 0
    return LookMemory(
        active(logbook),
        last,
        str(verdicts[-1].payload["verdict"]) if verdicts else "",
        last,  # a correction after it may not have been taken up
    )
