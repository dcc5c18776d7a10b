"""``curewatch cure``: what becomes of one film, at a temperature or along a history."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings

if TYPE_CHECKING:
    from curewatch.model.film import History

SHORTEST, LONGEST = 0.1, 9600.0  # h


def app(
    *,
    resin: Annotated[
        str | None,
        typer.Option("--resin", metavar="NAME|FILE", help="A resin system or its file.", show_default=False),
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option("--temperature", metavar="C", help="Steady, e.g. 12 or 54F.", show_default=False),
    ] = None,
    history: Annotated[
        Path | None,
        typer.Option("--history", metavar="FILE", help="A CSV of time and temperature.", show_default=False),
    ] = None,
    hours: Annotated[
        float | None,
        typer.Option("--hours", metavar="H", help="How long; else 48 or the history.", show_default=False),
    ] = None,
    peroxide: Annotated[
        float | None,
        typer.Option("--peroxide", metavar="PERCENT", help="Polyester: of resin mass.", show_default=False),
    ] = None,
    chart: Annotated[
        Path | None,
        typer.Option("--chart", metavar="FILE", help="Also draw it, as .svg or .png.", show_default=False),
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Cure of one layer over time: conversion, glass transition, and when it gels, dries and hardens.

    Give a steady temperature, or a history of the surface as a CSV. Bands are those of the lot.

    Example: curewatch cure --resin epoxy-slow --temperature 12 --hours 48
    """
    from curewatch.cli import terminal
    from curewatch.cli.screens import cure as screen
    from curewatch.materials import load_system
    from curewatch.model.outcome import outcome

    configuration, wording = settings(config, units)
    system = load_system(resin or configuration.resin.system, configuration.resin.folder)
    path = _history(temperature, history, hours)
    said = outcome(system, path, peroxide_percent=peroxide)
    if chart is not None:
        from curewatch.cli.figures import draw

        draw(said, chart)
    if as_json:
        terminal.print_json(screen.as_plain(said))
    else:
        terminal.print_lines(screen.lines(said, wording), plain=plain)


def _history(temperature: str | None, file: Path | None, hours: float | None) -> "History":
    from curewatch.cli.history_file import cut, read_history
    from curewatch.cli.typed import temperature_from_text
    from curewatch.errors import UsageError
    from curewatch.model.film import constant
    from curewatch.units import HOUR, celsius_from_kelvin

    if (temperature is None) == (file is None):
        raise UsageError("give either --temperature or --history, one of the two")
    if hours is not None and not SHORTEST <= hours <= LONGEST:
        raise UsageError(f"--hours {hours:g}; allowed: {SHORTEST:g} to {LONGEST:g}")
    if file is not None:
        read = read_history(file)
        return read if hours is None else cut(read, hours * HOUR)
    kelvin = temperature_from_text(str(temperature))
    if not -30.0 <= celsius_from_kelvin(kelvin) <= 150.0:
        raise UsageError(f"--temperature {temperature!r}; allowed: -30 to 150 °C")
    return constant(kelvin, (48.0 if hours is None else hours) * HOUR)
