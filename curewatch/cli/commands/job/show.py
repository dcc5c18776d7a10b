"""``curewatch job list`` and ``job show``: what was told, with its corrections."""

from typing import Annotated

import typer

from curewatch import worklog
from curewatch.answers.job import job_list_document, job_show_document
from curewatch.cli.desk import desk
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.screens.job import job_lines, listed
from curewatch.cli.terminal import print_json, say


def list_(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """The jobs of this logbook, the open ones first.

    Example: curewatch job list
    """
    with desk(config, units) as place:
        jobs = (worklog.read(place.logbook, name) for name in worklog.names(place.logbook))
        document = job_list_document(jobs)
        print_json(document) if json else say(*listed(document, place.words, place.now))


def show(
    name: Annotated[str | None, typer.Argument(help="The job; else the one that is open.")] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Everything that was told of a job, in order, with corrections shown.

    Example: curewatch job show
    """
    with desk(config, units) as place:
        document = job_show_document(worklog.current(place.logbook, name))
        print_json(document) if json else say(*job_lines(document, place.words, place.now))
