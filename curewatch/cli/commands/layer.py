"""``curewatch layer``: "I started a layer"; then it is in the logbook and counts down."""

from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.answers import last_look
from curewatch.answers.layer import LayerDocument, layer_document
from curewatch.cli.desk import AgoOption, AtOption, ForceOption, JobOption, asked_back
from curewatch.cli.forms import ask_when, at_terminal, fill, nothing_given, with_fields
from curewatch.cli.job_forms import FORMS
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.layer import lines
from curewatch.cli.telling import open_to_tell
from curewatch.cli.terminal import print_json, say
from curewatch.cli.typed import past_from_text, span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import EntryKind, LogbookStore
from curewatch.wording import Wording

if TYPE_CHECKING:  # the model behind it is not needed to show the last look
    from curewatch.worklog.telling import Mixed

LONG_AGO = 7 * 86400.0  # s; a start before that is a slip of the finger


def app(
    given: dict[str, str | None],
    *,
    job: JobOption = None,
    ago: AgoOption = None,
    at: AtOption = None,
    running: Annotated[bool, typer.Option("--running", help="Only show what is running.")] = False,
    close: Annotated[
        str | None, typer.Option("--close", metavar="NAME", help="It is done with: L1 counts down no more.")
    ] = None,
    force: ForceOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Say that you started a layer (now, or some time ago); it goes into the logbook and counts down.

    The clock starts when resin and hardener are mixed: now, when the first batch named was, or as told.
    It belongs to the job that is open. On a terminal without options it asks. Works beside a daemon.

    Example: curewatch layer --resin epoxy-slow --mass "150 g" --ago "20 min"
    """
    told = (close, job, ago, at)
    if running and (force or any(each is not None for each in told) or not nothing_given(given)):
        raise UsageError("--running only shows what is running. Give it alone, or leave it out")
    configuration, words = settings(config, units)
    moment = SystemClock().now()
    now, path = moment.utc, logbook_path(configuration)
    if running and not path.exists():
        _show(layer_document((), now), words, now, json=json)
        return
    with open_to_tell(configuration, path, read_only=running) as logbook:
        if close is not None:
            from curewatch.worklog import laying

            laying.close(logbook, close, given, _started(ago, at, words, now), now)
        elif not running:
            _begin(logbook, configuration, given, words=words, now=now, job=job, ago=ago, at=at, force=force)
        document = last_look.answer(logbook, configuration, moment)
    _show(document, words, now, json=json)


def _begin(
    logbook: LogbookStore,
    configuration: Configuration,
    given: dict[str, str | None],
    *,
    words: Wording,
    now: float,
    job: str | None,
    ago: str | None,
    at: str | None,
    force: bool,
) -> None:
    """Write down a new layer."""
    from curewatch import worklog
    from curewatch.worklog import laying
    from curewatch.worklog.order import ToldTime, contradictions

    belongs = worklog.one_open(logbook, job)
    told = fill(FORMS[EntryKind.LAYER], given, laying.before(belongs), at_terminal(), words)
    mixed = laying.layer_of_batches(belongs, told.get("batches"))
    started, afterwards = _mixed_at(ago, at, given, mixed, words=words, now=now)
    moment = ToldTime(EntryKind.LAYER, started, now, tuple(told.get("batches") or ()))
    asked_back(contradictions(belongs, moment), words, now, force=force)
    layer = laying.layer(configuration, logbook, told, job=belongs, mixed=mixed, started=started)
    laying.begin(logbook, layer, told, now, afterwards=afterwards)


def _show(document: LayerDocument, words: Wording, now: float, *, json: bool) -> None:
    print_json(document) if json else say(*lines(document, words, now))


app = with_fields(FORMS[EntryKind.LAYER], app)


def _mixed_at(
    ago: str | None,
    at: str | None,
    given: dict[str, str | None],
    mixed: "Mixed | None",
    *,
    words: Wording,
    now: float,
) -> tuple[float, bool]:
    """When it was mixed, and whether that was told afterwards: an option, the person, its batches, or now."""
    if ago is not None or at is not None:
        return _started(ago, at, words, now), True
    ask = at_terminal()
    if ask is not None and nothing_given(given):
        told = ask_when(ask, words.zone, now, "now" if mixed is None else "as its batch")
        if told is not None:
            return _recent(told, words, now), True
    return (now, False) if mixed is None else (min(mixed.started, now), mixed.afterwards)


def _started(ago: str | None, at: str | None, words: Wording, now: float) -> float:
    """When it was mixed: now, or as told.

    Raises
    ------
    UsageError
        Told twice, or told to be ahead of now or long past.
    """
    if ago is not None and at is not None:
        raise UsageError("--ago and --at say the same thing; give one of them")
    if ago is not None:
        started = now - span_from_text(ago)
    elif at is not None:
        started = past_from_text(at, words.zone, now)
    else:
        return now
    return _recent(started, words, now)


def _recent(started: float, words: Wording, now: float) -> float:
    if not now - LONG_AGO <= started:
        raise UsageError(
            f"the layer's start: found {words.moment(started, now)}. Use a time in the last 7 days"
        )
    return started
