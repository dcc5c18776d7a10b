"""``curewatch tabs``: an own bond test, from its order to what it says."""

import re
from typing import Annotated

import typer

from curewatch import worklog
from curewatch.answers.choose import TabsDocument, tabs_document
from curewatch.cli.desk import JobOption, desk
from curewatch.cli.options import ConfigOption, JsonOption, settings
from curewatch.cli.screens.choose import tab_lines
from curewatch.cli.terminal import print_json, print_lines
from curewatch.configuration import logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import open_logbook
from curewatch.wording import number_of
from curewatch.worklog.fields import one_of

app = typer.Typer(
    add_completion=False, help="Own bond tests: equal tabs, broken by hand in an order drawn by lot."
)
_LOAD = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(kg|g|N|lb|l)?\s*")


@app.command()
def lay(
    ways: Annotated[
        list[str], typer.Argument(metavar="WAY WAY...", help='How they are laid: "polyester on primer".')
    ],
    *,
    each: Annotated[int, typer.Option("--each", help="Tabs of each way: 3 at least.")] = 3,
    face: Annotated[str, typer.Option("--on", metavar="FACE", help="What they are laid on.")] = "bare-timber",
    pull: Annotated[str, typer.Option("--pull", metavar="HOW", help="peel or shear.")] = "peel",
    lot: Annotated[str, typer.Option("--lot", help="Lots of resin and timber.", show_default=False)] = "",
    job: JobOption = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Begin a bond test: the same cloth, width and lever arm for every tab, on one board; cured alike.

    Break them in the order that is shown: it was drawn by lot, so that nothing favours one way.
    Stand aside and wear eye protection: a tab lets go at once.

    Example: curewatch tabs lay epoxy-slow "polyester-laminating on primer" --each 3
    """
    from curewatch.advice.choose.tabs import Pull
    from curewatch.worklog import tabs

    how = Pull(one_of(*Pull)(pull, "--pull"))
    named = [" ".join(way.split())[:40] for way in ways]
    with desk(config) as place:
        belongs = worklog.one_open(place.logbook, job)
        made = tabs.lay_out(
            place.logbook,
            named,
            each=each,
            face=face,
            pull=how,
            now=place.now,
            lot=lot,
            job=belongs.name if belongs else None,
        )
    _show(tabs_document(made), json=json)


@app.command()
def broke(
    load: Annotated[str, typer.Argument(metavar="LOAD", help='At which it broke: "12.5 kg".')],
    *,
    where: Annotated[
        str, typer.Option("--in", metavar="WHERE", help="Where it broke: face, laminate or timber.")
    ],
    tab: Annotated[
        int | None, typer.Option("--tab", help="Which; else the next.", show_default=False)
    ] = None,
    test: Annotated[
        str | None, typer.Option("--test", help="Which; else the last.", show_default=False)
    ] = None,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """Write down the load at which the next tab broke, and where it broke.

    Example: curewatch tabs broke "12.5 kg" --in face
    """
    from curewatch.advice.choose.tabs import Broke
    from curewatch.worklog import tabs

    told = _LOAD.fullmatch(load)
    if not told:
        raise UsageError(f"load: found {load!r}. Use a number with kg, g, N, lb or l (of water)")
    place_broken = Broke(one_of(*Broke)(where, "--in"))
    with desk(config) as place:
        found = tabs.named(place.logbook, test)
        unit = told[2] or (found.unit if found.tabs else "kg")
        value = number_of(told[1], load, "load", "," if unit in {"g", "N"} else "")
        found = tabs.tell(place.logbook, found, value, unit, place_broken, number=tab, now=place.now)
    _show(tabs_document(found), json=json)


@app.command()
def show(
    test: Annotated[str | None, typer.Argument(metavar="[TEST]", help="Which; else the last.")] = None,
    *,
    config: ConfigOption = None,
    json: JsonOption = False,
) -> None:
    """A bond test as it stands, and what it shows.

    Example: curewatch tabs show
    """
    from curewatch.worklog import tabs

    path = logbook_path(settings(config)[0])
    if not path.exists():
        raise UsageError("bond test: found none. Use `curewatch tabs lay WAY WAY` to begin one")
    with open_logbook(path, read_only=True) as logbook:
        document = tabs_document(tabs.named(logbook, test))
    _show(document, json=json)


def _show(document: TabsDocument, *, json: bool) -> None:
    print_json(document) if json else print_lines(tab_lines(document))
