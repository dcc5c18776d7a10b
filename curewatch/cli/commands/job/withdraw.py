"""``curewatch job withdraw``: a new entry that says that an earlier one should not be there."""

from typing import Annotated

import typer

from curewatch import worklog
from curewatch.cli.desk import ByOption, JobOption, desk, said
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.worklog import telling


def withdraw(
    number: Annotated[
        int, typer.Argument(help="The entry's number, as `job show` gives it.", show_default=False)
    ],
    *,
    reason: Annotated[
        str, typer.Option("--reason", help="Why; it is shown in the record.", show_default=False)
    ],
    by: ByOption = None,
    job: JobOption = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Withdraw an entry that should not be there, by a new one. Both stay in the record.

    A withdrawn layer counts down no more, and nothing is learnt from a withdrawn observation. What was
    told of a layer or a batch is withdrawn before it.

    Example: curewatch job withdraw 2 --reason "told twice"
    """
    with desk(config, units) as place:
        found = worklog.writable(place.logbook, job)
        who = by or str(found.opened.payload.get("by") or "") or None
        stored = place.entry(telling.withdrawal(found, number, reason, at=place.now, by=who))
        said(place, stored, f"entry {number} withdrawn", json)
