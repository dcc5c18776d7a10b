"""``curewatch heads``: the heads of all sheds in one signed list; and checking one."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.logbook.heads import HeadsList


def app(
    *,
    output: Annotated[
        Path | None,
        typer.Option("--output", metavar="FILE", help="The list: a new file.", show_default=False),
    ] = None,
    check: Annotated[
        Path | None,
        typer.Option("--check", metavar="FILE", help="Instead: check this list.", show_default=False),
    ] = None,
    roots: Annotated[
        Path | None,
        typer.Option(
            "--roots", metavar="FILE", help="With --check: trust these to date it.", show_default=False
        ),
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Seal every shed and list the seals, signed; or check a list against the logbooks.

    The daemon does so each night where there are several sheds. Keep the list on another machine.
    Exit status 5: a chain is not what was listed.

    Example: curewatch heads --output heads.json
    """
    from curewatch.answers.heads import heads_document
    from curewatch.cli.screens.heads import lines
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.cli.which_shed import all_sheds
    from curewatch.clock import SystemClock
    from curewatch.errors import UsageError
    from curewatch.wording import wording

    whole, now = all_sheds(config), SystemClock().now().utc
    if (output is None) == (check is None):
        raise UsageError("heads: found no one file. Use --output FILE to make a list, --check FILE for one")
    listed = _made(output, whole, now) if check is None else _checked(check, roots, whole)
    answer = heads_document(listed, output or check or Path(), checked=check is not None)
    words = wording(whole.zone, units, configured=whole.shed.units)
    print_json(answer) if as_json else print_lines(lines(answer, words, now))


def _made(file: "Path | None", whole: "Configuration", now: float) -> "HeadsList":
    from curewatch.configuration import logbook_path
    from curewatch.errors import UsageError
    from curewatch.logbook import open_logbook, sealing
    from curewatch.logbook.heads import written
    from curewatch.logbook.stamping import read_authority

    if file is None or file.exists():
        raise UsageError(f"--output: found {str(file)!r} there. Use a new file")
    authority = read_authority(whole.logbook.stamp_authority, whole.logbook.stamp_roots_file)
    places = {label: logbook_path(shed) for label, shed in whole.each.items()}
    _all_there(places)
    for path in places.values():
        with open_logbook(path) as logbook:
            sealing.seal(logbook, reason="day", at=now)
    return written(file, places, authority, now)


def _checked(file: Path, roots: Path | None, whole: "Configuration") -> "HeadsList":
    from contextlib import ExitStack

    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.logbook.heads import check_list, load
    from curewatch.logbook.stamping import read_roots

    listed = load(file)
    places = {label: logbook_path(shed) for label, shed in whole.each.items()}
    with ExitStack() as open_ones:
        sheds = {
            label: open_ones.enter_context(open_logbook(path, read_only=True))
            for label, path in places.items()
            if path.exists()
        }
        check_list(listed, sheds, None if roots is None else read_roots(roots))
    return listed


def _all_there(places: dict[str, Path]) -> None:
    from curewatch.errors import StoreFailed

    for path in places.values():
        if not path.exists():
            raise StoreFailed(f"there is no logbook at {path}; `curewatch ingest` or `watch` begins one")
