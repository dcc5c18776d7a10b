"""What the last look said of the running layers, shown until a look now could say something else.

Theory of operation
-------------------
The daemon looks at the shed each quarter of an hour, and within a minute of what is told. A command that tells
the logbook something on which the answer rests looks before it ends (:func:`leave`), and so does one that
asks and finds no look. Each keeps the answer as one note of the logbook, outside the chain. Who shows
it needs no model, so it costs a fifth of the time. A note that is lost, old or of another edition only costs
that time: then the answer is worked out anew. Where no layer runs, there is nothing to look at.

Laws, each held by a test that breaks it. What was told since the look is never passed over. No moment of the
answer lies between the look and now. The sensors that report are those that reported then. The configuration,
the shelf of resins, the edition and the course of the clock are those of the look.
"""

from collections.abc import Iterable, Iterator
from contextlib import suppress
from hashlib import sha256
from typing import TYPE_CHECKING, Annotated

from msgspec import DecodeError, json
from msgspec.structs import replace

from curewatch import __version__
from curewatch.answers.document import Shape, moment, says
from curewatch.answers.layer import LayerDocument, layer_document
from curewatch.clock import Clock, Instant
from curewatch.configuration import Configuration
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry, keep_note
from curewatch.shed import health, layer_log
from curewatch.units import MINUTE

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

        stands = logbook.head().entries  # what is told while it goes on makes it old at once
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


def looked(look: "Look", logbook: LogbookStore, at: Instant, entry: int) -> LastLook:
    """The look's answer; ``entry`` is the number of the last one that stood before it began."""
    document = layer_document(look.running, look.at, look.configuration.resin.folder)
    spoken = list(logbook.sensors())
    ends = (each.layer.started + layer_log.LONGEST for each in look.running)
    coming = [each for each in (*_moments(document), *ends) if each > at.utc]
    if spoken:  # without any sensor nothing is known of the air, however late it is
        coming.append(at.utc + LASTS)
    return LastLook(
        edition=__version__,
        asked=_asked(look.configuration),
        entry=entry,
        at_s=at.utc,
        monotonic_s=at.monotonic,
        until_s=min(coming, default=at.utc + LASTS),
        spoken=spoken,
        patience_s=dict(_reporting(logbook, look.configuration, at.utc)),
        layer=document,
    )


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
    if stepped or not kept.at_s <= now.utc < kept.until_s:
        return None
    if _told_since(logbook, kept.entry) or _others_report(logbook, configuration, kept, now.utc):
        return None
    return kept


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
    folder = configuration.resin.folder
    files = sorted(folder.glob("*.toml")) if folder is not None else []
    shelf = [(each.name, state.st_size, state.st_mtime_ns) for each in files for state in (each.stat(),)]
    return sha256(repr((replace(configuration, _file=None), shelf)).encode()).hexdigest()
