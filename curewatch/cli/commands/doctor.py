"""``curewatch doctor``: could a layer be trusted to it, and what to do where it could not."""

from dataclasses import replace
from pathlib import Path

import typer

from curewatch.answers.doctor import FindingDocument, doctor_document
from curewatch.cli.diagnosis import Examined, examine, verdict
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.doctor import lines
from curewatch.cli.terminal import print_json, say
from curewatch.clock import SystemClock, synchronised
from curewatch.configuration import logbook_path
from curewatch.errors import StoreFailed
from curewatch.logbook import open_logbook
from curewatch.wording import plain_wording


def app(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """What is configured, heard, how old, how accurate, kept and permitted; each with what to do.

    Exit status 0: a layer could be trusted to it. 4: it could not, yet. 5: the logbook is broken.
    1: it cannot be opened. 78: the configuration is wrong. It changes nothing and disturbs no running daemon.

    Example: curewatch doctor
    """
    configuration, words = settings(config, units)
    path = logbook_path(configuration)
    now = SystemClock().now()
    said = plain_wording(words.zone) if json else words
    findings = _examined(Examined(configuration, said, now, None, synchronised=synchronised()), path)
    document = doctor_document(findings)
    print_json(document) if json else say(*lines(document))
    raise typer.Exit(int(verdict(findings)))


def _examined(bare: Examined, path: Path) -> tuple[FindingDocument, ...]:
    """The findings with the logbook, or, where that cannot be opened, those without it and why."""
    if not path.exists():
        return examine(bare)
    try:
        with open_logbook(path, read_only=True) as logbook:
            return examine(replace(bare, logbook=logbook))
    except StoreFailed as trouble:
        return examine(replace(bare, unreadable=str(trouble)))
