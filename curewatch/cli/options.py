"""Options that many commands share: one spelling, one help text.

Use them as annotations: ``def app(config: ConfigOption = None, json: JsonOption = False) -> None``.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.wording import Wording

ConfigOption = Annotated[
    Path | None,
    typer.Option(
        "--config",
        metavar="FILE",
        help="The configuration; else $CUREWATCH_CONFIG, ./curewatch.toml or the user's own.",
        show_default=False,
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="The same answer as JSON.")]
PlainOption = Annotated[
    bool, typer.Option("--plain", help="Plain lines: no colour, no boxes (for pipes and screen readers).")
]
UnitsOption = Annotated[
    str | None,
    typer.Option(
        "--units",
        metavar="LIST",
        envvar="CUREWATCH_UNITS",
        help="How to show: C or F, g or oz, 24h or 12h, e.g. F,oz,12h; else [shed] units, or your locale.",
        show_default=False,
    ),
]


def settings(config: Path | None, units: str | None = None) -> "tuple[Configuration, Wording]":
    """The configuration a command was given, and how this person wants to read numbers and times."""
    from curewatch import configuration
    from curewatch.wording import wording

    found = configuration.load(config)
    return found, wording(found.zone, units, configured=found.shed.units)


def reader(units: str | None) -> "Wording":
    """How this person reads, for a command that needs no configuration: a broken one does not stop it."""
    from datetime import UTC

    from curewatch.errors import ConfigurationError
    from curewatch.wording import wording

    try:
        return settings(None, units)[1]
    except ConfigurationError:
        return wording(UTC, units)
