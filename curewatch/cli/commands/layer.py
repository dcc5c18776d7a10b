"""``curewatch layer``: "I started a layer"; then it is in the logbook and counts down."""

from dataclasses import replace
from typing import Annotated, Any

import typer

from curewatch import worklog
from curewatch.answers.layer import LayerDocument, layer_document
from curewatch.cli.desk import AgoOption, AtOption, JobOption
from curewatch.cli.forms import ask_when, at_terminal, fill, nothing_given, with_fields
from curewatch.cli.job_forms import FORMS
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.layer import lines
from curewatch.cli.terminal import print_json, say
from curewatch.cli.typed import past_from_text, span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import UsageError
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, EntryKind, LogbookStore, open_logbook
from curewatch.materials import DoseOutOfRange, Resin, load_resin
from curewatch.shed import layer_log
from curewatch.shed.look import Look
from curewatch.wording import Wording
from curewatch.worklog import telling

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
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Say that you started a layer (now, or some time ago); it goes into the logbook and counts down.

    The clock starts when resin and hardener are mixed: now, when the first batch named was, or as told.
    It belongs to the job that is open. On a terminal without options it asks. Works beside a daemon.

    Example: curewatch layer --resin epoxy-slow --mass "150 g" --ago "20 min"
    """
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    path = logbook_path(configuration)
    if running and not path.exists():
        _show(layer_document(()), words, now, json=json)
        return
    with open_logbook(path, read_only=running) as logbook:
        if close:
            _close(logbook, close, given, _started(ago, at, words, now), now)
        elif not running:
            belongs = worklog.one_open(logbook, job)
            told = fill(FORMS[EntryKind.LAYER], given, _before(belongs), at_terminal(), words)
            mixed = _mixed(belongs, told.get("batches"))
            started, afterwards = _mixed_at(ago, at, given, mixed, words=words, now=now)
            layer = _layer(configuration, logbook, told, job=belongs, mixed=mixed, started=started)
            layer = replace(layer, given_afterwards=afterwards)
            _begin(logbook, layer, told, now)
        document = layer_document(Look(logbook, configuration, now).running)
    _show(document, words, now, json=json)


def _show(document: LayerDocument, words: Wording, now: float, *, json: bool) -> None:
    print_json(document) if json else say(*lines(document, words, now))


app = with_fields(FORMS[EntryKind.LAYER], app)


def _before(job: worklog.Job | None) -> dict[str, Any]:
    """What the form offers: the last layer's cloth, layers and person, and the batches not yet used."""
    if job is None:
        return {}
    last = job.last(EntryKind.LAYER)
    before = {key: last.payload.get(key) for key in ("layers", "cloth", "by")} if last else {}
    before["by"] = before.get("by") or job.opened.payload.get("by")
    return before | {"batches": telling.unused_batches(job) or None}


def _mixed(job: worklog.Job | None, named: list[str] | None) -> telling.Mixed | None:
    if not named:
        return None
    if job is None:
        raise UsageError("a batch belongs to a job, and none is open: `curewatch job open`, then `job batch`")
    return telling.batches(job, named)


def _mixed_at(
    ago: str | None,
    at: str | None,
    given: dict[str, str | None],
    mixed: telling.Mixed | None,
    *,
    words: Wording,
    now: float,
) -> tuple[float, bool]:
    """When it was mixed, and whether that was told afterwards: an option, the person, its batches, or now."""
    if ago or at:
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
    if ago and at:
        raise UsageError("--ago and --at say the same thing; give one of them")
    if ago:
        started = now - span_from_text(ago)
    elif at:
        started = past_from_text(at, words.zone, now)
    else:
        return now
    return _recent(started, words, now)


def _recent(started: float, words: Wording, now: float) -> float:
    if not now - LONG_AGO <= started:
        raise UsageError(f"the layer would have begun {words.moment(started, now)}; allowed: the last 7 days")
    return started


def _layer(
    configuration: Configuration,
    logbook: LogbookStore,
    told: dict[str, Any],
    *,
    job: worklog.Job | None,
    mixed: telling.Mixed | None,
    started: float,
) -> Layer:
    """The layer as told; where nothing was said what its batches, its job or the configuration say."""
    usual = configuration.resin
    if mixed is not None and mixed.resin and told.get("resin") not in {None, mixed.resin}:
        raise UsageError(f"--resin {told['resin']!r}, but the batches are of {mixed.resin}; leave it out")
    jobs = job.opened.payload.get("resin") if job else None
    name = told.get("resin") or (mixed and mixed.resin) or jobs or usual.name
    resin = load_resin(name, usual.folder)
    same_resin = name == usual.name
    usual_dose = usual.peroxide_percent if same_resin else None
    dose = told.get("peroxide_percent") or (mixed and mixed.peroxide_percent(resin)) or usual_dose
    usual_mass = mixed.mass if mixed else usual.batch_mass_g and usual.batch_mass_g / 1000
    return Layer(
        layer=layer_log.next_name(logbook),
        started=started,
        resin=name,
        batch_mass=told.get("batch_mass") or usual_mass,
        thickness=int(told.get("layers", 1)) * usual.film_mm / 1000,
        peroxide_percent=_peroxide(dose, resin),
        peroxide_assumed=resin.dose_used(dose).peroxide_assumed,
        job=job.name if job else None,
        lot=told.get("lot") or (mixed and mixed.lot) or (usual.lot if same_resin else None),
        note=told.get("note", ""),
    )


def _peroxide(given: float | None, resin: Resin) -> float | None:
    """The dose, checked against the resin's own range; the normal one where nothing is said."""
    dose = resin.dose
    if dose is None:
        if given is not None:
            raise UsageError(
                f"--peroxide: {resin.name} is {resin.chemistry.name}, which keeps its mix ratio. Leave it out"
            )
        return None
    if given is None:
        return dose.peroxide_normal
    if not dose.peroxide_low <= given <= dose.peroxide_high:
        raise DoseOutOfRange("peroxide", given, (dose.peroxide_low, dose.peroxide_high), resin.name)
    return given


def _begin(logbook: LogbookStore, layer: Layer, told: dict[str, Any], now: float) -> None:
    further = {key: told[key] for key in ("batches", "layers", "cloth", "by") if key in told}
    payload = layer_as_plain(layer) | further
    logbook.write(Entry(EntryKind.LAYER, payload, layer.started, job=layer.job, recorded=now))


def _close(logbook: LogbookStore, name: str, given: dict[str, str | None], at: float, now: float) -> None:
    open_ones = {layer.layer: layer for layer in layer_log.running(logbook, now)}
    layer = open_ones.get(name.upper())
    if layer is None:
        there = f"running: {', '.join(open_ones)}" if open_ones else "none is running"
        raise UsageError(f"no running layer {name!r}; {there}")
    if at < layer.started:
        raise UsageError(f"{layer.layer} began after that; give a later --at, or none")
    said = {"text": given["note"], "by": given["by"], "given_afterwards": at != now or None}
    payload = {"layer": layer.layer, "at": at} | {key: value for key, value in said.items() if value}
    logbook.write(Entry(EntryKind.LAYER_CLOSED, payload, at, job=layer.job, recorded=now))
