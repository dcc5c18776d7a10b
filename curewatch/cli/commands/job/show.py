"""``curewatch job list`` and ``job show``: what was told, with its corrections."""

from typing import Annotated, Any

import typer

from curewatch import worklog
from curewatch.cli.desk import desk, plain_entry
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.cli.screens.job import job_lines, listed
from curewatch.cli.terminal import print_json, say
from curewatch.clock import iso_utc


def list_(config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """The jobs of this logbook, the open ones first.

    Example: curewatch job list
    """
    with desk(config, units) as place:
        jobs = [worklog.read(place.logbook, name) for name in worklog.names(place.logbook)]
        jobs.sort(key=lambda job: job.closed is not None)
        if json:
            print_json([_plain_job(job) for job in jobs])
            return
        say(*listed(jobs, place.words, place.now))


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
        job = worklog.current(place.logbook, name)
        if json:
            entries = [
                plain_entry(told.entry) | {"holds_now": dict(told.payload)} | _corrected(told)
                for told in job.told
            ]
            print_json(_plain_job(job) | {"entries": entries})
            return
        say(*job_lines(job, place.words, place.now))


def _corrected(told: worklog.CorrectedEntry) -> dict[str, Any]:
    return {"corrected_by": [one.number for one in told.corrections]}


def _plain_job(job: worklog.Job) -> dict[str, Any]:
    return {
        "job": job.name,
        "title": job.title,
        "opened": iso_utc(job.opened.at),
        "closed": None if job.closed is None else iso_utc(job.closed.at),
        "running": list(job.running),
    }
