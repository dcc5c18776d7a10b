"""``curewatch page``: let a phone in, list who may, take it back."""

from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption
from curewatch.errors import UsageError


def app(
    *,
    kind: Annotated[
        str,
        typer.Option(
            "--kind",
            metavar="KIND",
            help="view: look; write: keys, too; calendar: a feed.",
            show_default=True,
        ),
    ] = "view",
    name: Annotated[
        str, typer.Option("--name", metavar="NAME", help="Whose phone it is.", show_default=False)
    ] = "",
    listed: Annotated[bool, typer.Option("--list", help="Only list the codes there are.")] = False,
    revoke: Annotated[
        int | None, typer.Option("--revoke", metavar="NUMBER", help="Take a code back.", show_default=False)
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """A code that lets a phone on your network open the page: as an address and as a square.

    It is shown once. Where there are several sheds, it opens the page of all of them.
    The page is off until the configuration has [page] on = true.

    Example: curewatch page --kind write --name "my phone"
    """
    from curewatch.cli.page_codes import codes
    from curewatch.cli.screens.page import lines
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.cli.which_shed import all_sheds
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.page import tokens
    from curewatch.wording import wording

    configuration = all_sheds(config)
    words = wording(configuration.zone, units, configured=configuration.shed.units)
    path, now = tokens.tokens_path(logbook_path(configuration)), SystemClock().now().utc
    if revoke is None and not listed and not configuration.page.on:
        raise UsageError("page: found it off. Use `on = true` under [page] in curewatch.toml, then restart")
    if kind not in set(tokens.TokenKind):
        raise UsageError(f"--kind: found {kind!r}. Use view, write or calendar")
    asked = tokens.TokenKind(kind)
    document = codes(configuration.page, path, now, kind=asked, name=name, listed=listed, revoke=revoke)
    print_json(document) if json else print_lines(lines(document, words, now))
