"""``curewatch doctor``: could a layer be trusted to it, and what to do where it could not."""

from functools import partial
from pathlib import Path

import typer

from curewatch.answers.doctor import FindingDocument, doctor_document
from curewatch.cli.diagnosis import Examined, HeartbeatHeard, examine, verdict
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, WhyOption, settings
from curewatch.cli.screens.doctor import lines
from curewatch.cli.terminal import print_json, say
from curewatch.clock import SystemClock, synchronised
from curewatch.configuration import MqttSource, load, logbook_path, of_no_shed, password
from curewatch.errors import CurewatchError, StoreFailed
from curewatch.logbook import open_logbook
from curewatch.wording import plain_wording

LISTENED = 3.0  # to a broker, for what it keeps [s]


def app(
    *,
    why: WhyOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """What is configured, what reports, how old, how accurate, kept and permitted; each with what to do.

    Exit status 0: a layer could be trusted to it. 4: it could not, yet. 5: the logbook is broken.
    1: it cannot be opened. 78: the configuration is wrong. It changes nothing and disturbs no running daemon.

    Example: curewatch doctor
    """
    configuration, words = settings(config, units)
    path = logbook_path(configuration)
    now = SystemClock().now()
    said = plain_wording(words.zone) if json else words
    bare = Examined(
        configuration,
        said,
        now,
        None,
        beside=tuple(of_no_shed(load(config).each.values())),
        synchronised=synchronised(),
        hear=partial(_heard, configuration.label),
    )
    findings = _examined(bare, path)
    document = doctor_document(findings)
    print_json(document) if json else say(*lines(document, why=why))
    raise typer.Exit(int(verdict(findings)))


def _heard(shed: str, name: str, source: MqttSource) -> HeartbeatHeard:
    """What another machine would hear of this shed's daemon."""
    from curewatch.daemon.edges.heartbeat import HeartbeatEdge, hear_kept
    from curewatch.daemon.second_listener import SecondListener

    listener = SecondListener()
    try:
        edge = HeartbeatEdge(source, password(name, source))
    except (CurewatchError, OSError) as trouble:
        return HeartbeatHeard(None, str(trouble))
    try:
        hear_kept(edge, listener, SystemClock(), LISTENED)
    finally:
        edge.close()
    known = listener.sheds.get(shed)
    return HeartbeatHeard(None, edge.trouble) if known is None else HeartbeatHeard(known.heard)


def _examined(bare: Examined, path: Path) -> tuple[FindingDocument, ...]:
    """The findings with the logbook, or, where that cannot be opened, those without it and why."""
    if not path.exists():
        return examine(bare)
    try:
        with open_logbook(path, read_only=True) as logbook:
            return examine(bare._replace(logbook=logbook))
    except StoreFailed as trouble:
        return examine(bare._replace(unreadable=str(trouble)))
