"""What the last look said of the running layers, shown until a look now could say something else.

Theory of operation
-------------------
The daemon looks at the shed each quarter of an hour, and within a minute of what is told. A command that tells
the logbook something on which the answer rests looks before it ends (:func:`leave`), and so does one that
asks and finds no look. Each keeps the answer as one note of the logbook, outside the chain. Who shows
it needs no model, so it costs a fifth of the time. A note that is lost, old or of another edition only costs
that time: then the answer is worked out anew. Where no layer runs, there is nothing to look at.

What comes is foreseen from the last reading on. So while nothing new is heard the moments stay, and what the
hour alone changes is said anew from what is kept: the stage by the moments, the conversion by its curve.

Laws, each held by a test that breaks it. What was told since the look is never passed over. The configuration,
the shelf of resins, the edition and the course of the clock are those of the look. Where nothing was heard
since, nothing that the passing hours change is left as it was (:func:`_unheard_until`). Where something was
heard, no moment of the answer lies between the look and now, and the sensors that report are those of then.
"""

from collections.abc import Iterable, Iterator
from contextlib import suppress
from hashlib import sha256
from typing import TYPE_CHECKING, Annotated

from msgspec import DecodeError, json
from msgspec.structs import replace

from curewatch import __version__
from curewatch.advice.alert.stages import BRIDGED, Curing, Silence, stage
from curewatch.answers.document import Shape, code, moment, number, says
from curewatch.answers.layer import LayerDocument, layer_document, seconds_unmeasured
from curewatch.clock import Clock, Instant, iso_utc
from curewatch.configuration import Configuration
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry, keep_note
from curewatch.shed import health, layer_log
from curewatch.units import HOUR, MINUTE

if TYPE_CHECKING:
    from curewatch.logbook.chain import Head
    from curewatch.shed.look import Look

NOTE = "last-look"
LASTS = 16 * MINUTE  # a quarter of an hour between two looks, and a minute for the look itself [s]
CLOCK_STEP = 2.0  # a wall clock that moved more than this against the other was set [s]
RESTS_ON = frozenset(  # what a look reads of running layers, and what became of readings
    (
        EntryKind.JOB_OPEN,
        EntryKind.JOB_CLOSE,
        EntryKind.JOB_REOPEN,
        EntryKind.LAYER,
        EntryKind.LAYER_CLOSED,
        EntryKind.POT_EMPTY,
        EntryKind.PEEL_PLY,
        EntryKind.WASH,
        EntryKind.OBSERVATION,
        EntryKind.CORRECTION,
        EntryKind.CLOCK,
        EntryKind.FORECAST,
        EntryKind.RESTORED,
        EntryKind.PRUNE,
        EntryKind.SALVAGE,
    )
)
PASSED_OVER = frozenset(EntryKind) - RESTS_ON  # a kind that this edition does not know is not among them


class LastLook(Shape, frozen=True, kw_only=True):
    """One look, and what it rests on."""

    edition: Annotated[str, says("Of the program that looked")]
    asked: Annotated[str, says("Digest of its configuration and its shelf of resins")]
    entry: Annotated[int, says("Number of the last entry before it")]
    at_s: Annotated[float, says("When it looked (UTC since 1970)")]
    monotonic_s: Annotated[float, says("The same by the clock that nobody sets")]
    until_s: Annotated[float, says("When the first of its moments comes, or it is too old (UTC since 1970)")]
    spoken: Annotated[list[str], says("Every sensor that had ever spoken")]
    patience_s: Annotated[dict[str, float], says("How long each sensor that reported may say nothing")]
    layer: Annotated[LayerDocument, says("The answer")]
    readings: Annotated[int, says("How many the logbook held")]
    unheard_until_s: Annotated[float, says("Until when it holds while that is so (UTC since 1970)")]
    curing: Annotated[dict[str, Curing], says("How far each layer comes meanwhile")]
    unmeasured: Annotated[dict[str, Silence], says("How long nobody measured each")]


def as_note(look: LastLook) -> bytes:
    """As the logbook keeps it."""
    return json.encode(look)


def answer(
    logbook: LogbookStore, configuration: Configuration, now: Instant, *, anew: bool = False
) -> LayerDocument:
    """The running layers: as the last look says, if a look now could say nothing else; else by a look, kept.

    ``anew``: readings came that are no daemon's, so the last look is not asked for.
    """
    if not layer_log.running(logbook, now.utc):
        return layer_document((), now.utc)
    kept = None if anew else kept_look(logbook, configuration, now)
    if kept is None:
        from curewatch.shed.look import Look  # the model

        stands = logbook.head()  # what is told while it goes on makes it old at once
        kept = looked(Look(logbook, configuration, now.utc), logbook, now, stands)
        keep_note(logbook.path, NOTE, as_note(kept))
    return kept.layer


def leave(logbook: LogbookStore, configuration: Configuration, before: "Head", clock: Clock) -> None:
    """Have a look kept, where what the logbook was told since makes the last one old.

    It only saves time for whoever asks next: its failure is passed over, and whoever asks meets it.
    """
    with suppress(Exception, KeyboardInterrupt):
        if not logbook.sealed_here:  # the daemon of another user keeps it, and looks
            return
        anew = logbook.head().readings != before.readings
        if anew or _matters(logbook.entries(after=before.entries)):
            answer(logbook, configuration, clock.now(), anew=anew)


def looked(look: "Look", logbook: LogbookStore, at: Instant, before: "Head") -> LastLook:
    """The look's answer; ``before`` is where the logbook stood before it began."""
    document = layer_document(look.running, look.at, look.configuration.resin.folder)
    ends = (each.layer.started + layer_log.LONGEST for each in look.running)
    unmeasured = {each.layer.layer: each.unmeasured for each in look.progress}
    grows = (max(each.heard + BRIDGED, at.utc) for each in unmeasured.values())  # minute by minute from then
    coming = [each for each in (*_moments(document), *ends, at.utc + LASTS) if each > at.utc]
    return LastLook(
        edition=__version__,
        asked=_asked(look.configured),
        entry=before.entries,
        at_s=at.utc,
        monotonic_s=at.monotonic,
        until_s=min((*coming, *grows)),
        spoken=list(logbook.sensors()),
        patience_s=dict(_reporting(logbook, look.configuration, at.utc)),
        layer=document,
        readings=before.readings,
        unheard_until_s=_unheard_until(look, logbook),
        curing={each.layer.layer: each.curing() for each in look.progress if each.curing is not None},
        unmeasured=unmeasured,
    )


def _unheard_until(look: "Look", logbook: LogbookStore) -> float:
    """Until when a look would find the same moments, if no sensor says anything meanwhile. [UTC s]

    The look itself where the hours alone may change what it rests on: two sensors of one role, a stamp that
    lies ahead, a thermometer in a layer, a last word that leaves the hours which health looks back on.
    """
    from curewatch.advice.judge.situation import UNHEARD
    from curewatch.shed import forecasts, recall

    now, known, running = look.at, logbook.sensors(), look.running
    asked = [each for each in recall.sensors_of_interest(logbook, look.configuration) if each in known]
    spoke = [each.time for each in look.situation.places() if not each.estimated]
    alone = len(spoke) == sum(look.configuration.of_shed(each) for each in asked)
    ahead = any(each.latest > now for each in known.values())
    if not alone or ahead or any(each.layer.probe or each.layer.cup for each in running):
        return now
    leaves = [(time + recall.LOOK_BACK - HOUR, time + recall.LOOK_BACK) for time in spoke]
    if any(begin <= now <= end for begin, end in leaves) or max(spoke, default=now) + UNHEARD <= now:
        return now
    ends = [each.layer.started + layer_log.LONGEST for each in running]
    ends += [each.layer.started + layer_log.WARM for each in running if each.layer.substrate]
    ends += [each.received + forecasts.KEPT for each in look.situation.forecasts]
    ends += [max(spoke) + UNHEARD, *(begin for begin, _ in leaves)] if spoke else []
    return min((each for each in ends if each > now), default=now)


def kept_look(logbook: LogbookStore, configuration: Configuration, now: Instant) -> LastLook | None:
    """The last look, if a look now could say nothing else; else none."""
    body = logbook.note(NOTE)
    try:
        kept = None if body is None else json.decode(body, type=LastLook)
    except DecodeError:  # of another edition
        return None
    if kept is None or (kept.edition, kept.asked) != (__version__, _asked(configuration)):
        return None
    age = now.utc - kept.at_s
    stepped = abs(age - (now.monotonic - kept.monotonic_s)) > CLOCK_STEP
    if stepped or age < 0.0 or _told_since(logbook, kept.entry):
        return None
    if now.utc < kept.unheard_until_s and logbook.head().readings == kept.readings:
        return _at(kept, now.utc)
    if now.utc >= kept.until_s or _others_report(logbook, configuration, kept, now.utc):
        return None
    return kept


def _at(kept: LastLook, now: float) -> LastLook:
    """The same at a later moment, where nothing was heard since. [UTC s]"""
    running = [
        replace(
            each,
            stage=code(stage({one.name: moment(one.likely) for one in each.timeline}, now)),
            conversion=number(kept.curing[each.layer].at(now), 3),
            unmeasured_s=seconds_unmeasured(kept.unmeasured[each.layer], now),
        )
        if each.layer in kept.curing
        else each
        for each in kept.layer.running
    ]
    return replace(kept, layer=replace(kept.layer, as_of=iso_utc(now), running=running))


def _told_since(logbook: LogbookStore, number: int) -> bool:
    """Whether something that matters was told since, or the logbook is not the one it was."""
    found = logbook.entries(after=max(0, number - 1))
    known = found[:1] if number else []
    if number and (not known or known[0].number != number):
        return True
    return _matters(found[len(known) :])


def _matters(told: Iterable[StoredEntry]) -> bool:
    """Whether the answer may be another by one of these."""
    return any(one.kind not in PASSED_OVER for one in told)


def _others_report(logbook: LogbookStore, configuration: Configuration, kept: LastLook, now: float) -> bool:
    """Whether a sensor fell silent since then, or one reports that did not. [UTC s]"""
    reporting = {name for name, _ in _reporting(logbook, configuration, now)}
    return reporting != kept.patience_s.keys() or list(logbook.sensors()) != kept.spoken


def _reporting(
    logbook: LogbookStore, configuration: Configuration, now: float
) -> Iterator[tuple[str, float]]:
    """Each sensor that reports, and how long it may say nothing. [UTC s] -> [s]"""
    for name, heard in logbook.sensors().items():
        known = configuration.sensor(name)
        patience = health.patience(known.every_s if known else health.EVERY_ASSUMED)
        if now - heard.latest <= patience:
            yield name, patience


def _moments(answer: LayerDocument) -> Iterator[float]:
    """Every moment that it names. [UTC s]"""
    for layer in answer.running:
        for coming in layer.timeline:
            for stamp in (coming.early, coming.likely, coming.late):
                when = moment(stamp)
                if when is not None:
                    yield when


def _asked(configuration: Configuration) -> str:
    """What the question rests on apart from the logbook, as a digest."""
    rests_on = (configuration.shed, configuration.resin, configuration.sensors, configuration.limits)
    folder = configuration.resin.folder
    files = sorted(folder.glob("*.toml")) if folder is not None else []
    shelf = [(each.name, state.st_size, state.st_mtime_ns) for each in files for state in (each.stat(),)]
    return sha256(repr((rests_on, shelf)).encode()).hexdigest()
