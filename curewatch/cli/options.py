"""Options that many commands share: one spelling, one help text.

Use them as annotations: ``def app(config: ConfigOption = None, json: JsonOption = False) -> None``.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.wording import Wording

LayersOption = Annotated[
    int,
    typer.Option("--layers", metavar="N", min=1, max=40, help="Laid at once: their own heat counts."),
]
FaceOption = Annotated[
    str | None,
    typer.Option(
        "--on",
        metavar="FACE",
        help="Below: bare-timber, primed-timber, foam, polyester, epoxy, tie-coat, old-laminate, metal.",
        show_default=False,
    ),
]
MoistureOption = Annotated[
    str | None,
    typer.Option(
        "--moisture", metavar="PERCENT", help="Of the timber below, by a meter.", show_default=False
    ),
]
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
WhyOption = Annotated[bool, typer.Option("--why", help="Also every reason, number and source.")]
UnitsOption = Annotated[
    str | None,
    typer.Option(
        "--units",
        metavar="LIST",
        envvar="CUREWATCH_UNITS",
        help="To show, and for bare numbers: C or F, g or oz, 24h or 12h; else [shed] units, or your locale.",
        show_default=False,
    ),
]


def settings(config: Path | None, units: str | None = None) -> "tuple[Configuration, Wording]":
    """The configuration of the shed that is meant, and how this person wants to read numbers and times."""
    from curewatch.cli.which_shed import configured
    from curewatch.wording import wording

    found = configured(config)
    return found, wording(found.zone, units, configured=found.shed.units)


def common_settings(config: Path | None, units: str | None = None) -> "tuple[Configuration, Wording]":
    """The same for a command that needs no shed: where there are several, what they have in common."""
    from curewatch.cli.which_shed import configured, named
    from curewatch.configuration import load
    from curewatch.wording import wording

    found = load(config) if named() is None else configured(config)
    return found, wording(found.zone, units, configured=found.shed.units)


def reader(units: str | None) -> "Wording":
    """How this person reads, for a command that needs no configuration: a broken one does not stop it."""
    from datetime import UTC

    from curewatch.errors import ConfigurationError
    from curewatch.wording import wording

    try:
        return common_settings(None, units)[1]
    except ConfigurationError:
        return wording(UTC, units)
