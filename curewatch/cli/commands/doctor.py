"""``curewatch doctor``: could a layup be trusted to it, and what to do where it could not."""

import textwrap
from dataclasses import replace
from pathlib import Path
from typing import Any

import typer

from curewatch.cli.diagnosis import Examined, Finding, Grade, examine, verdict
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, say
from curewatch.clock import SystemClock, synchronised
from curewatch.configuration import logbook_path
from curewatch.errors import ExitStatus, StoreFailed
from curewatch.logbook import open_logbook
from curewatch.wording import plain_wording

MARK = {Grade.GOOD: "good", Grade.CARE: "CARE", Grade.BAD: "BAD "}


def app(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """What is configured, heard, how old, how accurate, kept and permitted; each with what to do.

    Exit status 0: a layup could be trusted to it. 4: it could not, yet. 5: the logbook is broken.
    1: it cannot be opened. 78: the configuration is wrong. It changes nothing and disturbs no running daemon.

    Example: curewatch doctor
    """
    configuration, words = settings(config, units)
    path = logbook_path(configuration)
    now = SystemClock().now()
    said = plain_wording(words.zone) if json else words
    findings = _examined(Examined(configuration, said, now, None, synchronised=synchronised()), path)
    status = verdict(findings)
    if json:
        print_json({"trusted": status is ExitStatus.OK, "findings": [as_plain(each) for each in findings]})
    else:
        say(*lines(findings, status))
    raise typer.Exit(int(status))


def _examined(bare: Examined, path: Path) -> tuple[Finding, ...]:
    """The findings with the logbook, or, where that cannot be opened, those without it and why."""
    if not path.exists():
        return examine(bare)
    try:
        with open_logbook(path, read_only=True) as logbook:
            return examine(replace(bare, logbook=logbook))
    except StoreFailed as trouble:
        return examine(replace(bare, unreadable=str(trouble)))


def as_plain(finding: Finding) -> dict[str, Any]:
    """A finding for ``--json``."""
    return {
        "about": finding.about,
        "grade": str(finding.grade),
        "seen": finding.seen,
        "advised": finding.advised,
    }


def lines(findings: tuple[Finding, ...], status: ExitStatus) -> list[str]:
    """The answer first, then each finding; in 80 columns."""
    trusted = status is ExitStatus.OK
    bad = sum(finding.grade is Grade.BAD for finding in findings)
    said = [
        "A layup could be trusted to this."
        if trusted
        else f"No layup could be trusted to this: {bad} BAD below."
    ]
    for finding in findings:
        head = f"{MARK[finding.grade]}  {safe_line(finding.about)}: "
        said += textwrap.wrap(head + safe_line(finding.seen), 79, subsequent_indent="      ")
        if finding.advised:
            said += textwrap.wrap(f"      -> {safe_line(finding.advised)}", 79, subsequent_indent="         ")
    return said
