"""``curewatch cure``: what becomes of one film, at a temperature or along a history."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings

if TYPE_CHECKING:
    from curewatch.answers.cure import CureBlushDocument, CureLaminateDocument, CurePotDocument
    from curewatch.materials import Resin
    from curewatch.model.film.film import History
    from curewatch.model.film.outcome import FilmOutcome

SHORTEST, LONGEST = 0.1, 1440.0  # h: up to 60 days


def app(
    *,
    named: Annotated[
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
    cobalt: Annotated[
        float | None,
        typer.Option(
            "--cobalt", metavar="PERCENT", help="Polyester: metal, of resin mass.", show_default=False
        ),
    ] = None,
    mass: Annotated[
        str | None,
        typer.Option(
            "--mass", metavar="MASS", help="Also this batch in its pot, e.g. 350g.", show_default=False
        ),
    ] = None,
    shape: Annotated[str, typer.Option("--shape", help="Of the pot: cup, tray or roller-tray.")] = "cup",
    thickness: Annotated[
        float | None,
        typer.Option(
            "--thickness", metavar="MM", help="Also a laminate as thick as this.", show_default=False
        ),
    ] = None,
    substrate: Annotated[
        str, typer.Option("--on", metavar="SUBSTRATE", help="What the laminate lies on.")
    ] = "plywood",
    humidity: Annotated[
        float | None,
        typer.Option(
            "--humidity", metavar="PERCENT", help="At the surface: also tells of blush.", show_default=False
        ),
    ] = None,
    carbon_dioxide: Annotated[
        float, typer.Option("--carbon-dioxide", metavar="PPM", help="Of the air, for blush.")
    ] = 420.0,
    rest: Annotated[
        str | None,
        typer.Option(
            "--rest",
            metavar="SPAN",
            help="In the pot before it is spread, for blush; else as the sheet says.",
            show_default=False,
        ),
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

    Give a steady temperature, or a history of the surface as a CSV. Bands are those of the lot. With
    --mass also when that batch kicks in its pot; with --thickness how hot a laminate gets; with
    --humidity whether amine blush forms.

    Example: curewatch cure --resin epoxy-slow --temperature 12 --hours 48
    """
    from curewatch.answers.cure import cure_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import blush as blush_screen
    from curewatch.cli.screens import cure as screen
    from curewatch.cli.screens import heat
    from curewatch.errors import UsageError
    from curewatch.materials import load_resin
    from curewatch.materials.substrate import substrate_names
    from curewatch.model.film.outcome import outcome

    configuration, wording = settings(config, units)
    resin = load_resin(configuration.resin.name if named is None else named, configuration.resin.folder)
    dose = resin.dose_used(peroxide)
    resin = resin.dosed(peroxide, cobalt)
    if substrate not in substrate_names():
        raise UsageError(f"--on {substrate!r}; allowed: {', '.join(substrate_names())}")
    path = _history(temperature, history, hours)
    said = outcome(resin, path)
    if humidity is not None:
        _must_be_air(humidity, carbon_dioxide)
    if chart is not None:
        from curewatch.cli.figures import draw

        draw(said, chart, wording)
    answer = cure_document(
        said,
        dose,
        do_not=_against(said, path, humidity),
        blush=None if humidity is None else _blush(resin, path, humidity, carbon_dioxide, rest),
        pot=None if mass is None else _pot(resin, mass, shape, path),
        laminate=None if thickness is None else _laminate(resin, thickness, substrate, path),
    )
    if as_json:
        terminal.print_json(answer)
        return
    shown = [answer.do_not[0].upper() + answer.do_not[1:], ""] if answer.do_not else []
    shown += screen.lines(answer, wording, terminal.columns())
    shown += [] if answer.blush is None else ["", *blush_screen.lines(answer.blush)]
    shown += [] if answer.pot is None else ["", *heat.pot_lines(answer.pot, wording)]
    shown += [] if answer.laminate is None else ["", *heat.laminate_lines(answer.laminate, wording)]
    terminal.print_lines(shown, plain=plain)


def _must_be_air(humidity: float, carbon_dioxide: float) -> None:
    """Refuse what no air can be, before anything is worked out from it."""
    from curewatch.errors import UsageError

    if not 1.0 <= humidity <= 100.0:
        hint = f"; if that was a fraction, give {100 * humidity:g}" if 0.0 < humidity < 1.0 else ""
        raise UsageError(f"--humidity {humidity:g}; allowed: 1 to 100 %{hint}")
    if not 100.0 <= carbon_dioxide <= 50_000.0:
        raise UsageError(f"--carbon-dioxide {carbon_dioxide:g}; allowed: 100 to 50000 ppm")


def _against(said: "FilmOutcome", path: "History", humidity: float | None) -> str:
    """Why this film must not be laid: a wet surface at the start, or too cold before it is tack-free."""
    import math

    from curewatch.advice.judge.comparison import forbidden
    from curewatch.model.air.surface import condensation_margin
    from curewatch.physics.moist_air import vapour_pressure

    until = float(said.marks["tack_free"].likely)
    lowest = path.temperature[path.time <= until] if math.isfinite(until) else path.temperature
    start, margin = float(path.temperature[0]), None
    if humidity is not None:
        margin = float(condensation_margin(start, vapour_pressure(start, humidity / 100.0)))
    return forbidden(said.resin, float(lowest.min()), margin)


def _blush(
    resin: "Resin", path: "History", humidity: float, carbon_dioxide: float, rest: str | None
) -> "CureBlushDocument":
    """Blush of every lot in air that stays as humid at the surface, and the recoat window with it."""
    import numpy as np

    from curewatch.answers.cure import blush_part
    from curewatch.cli.typed import span_from_text
    from curewatch.model.film import blush
    from curewatch.model.film.ensemble import cures
    from curewatch.model.film.film import History
    from curewatch.model.film.lots import STRATA
    from curewatch.model.film.recoat_window import recoat_window

    lots = cures(resin, History(path.time, np.tile(path.temperature, (STRATA, 1))))
    damp, gas = humidity / 100.0, carbon_dioxide * 1e-6
    stood = resin.blush.rest or 0.0 if rest is None else span_from_text(rest, "--rest")
    found = blush.blush(resin, lots, damp, gas, rest=stood)
    gathering = blush.rate(resin, lots.temperature, np.full(lots.conversion.shape, damp), gas)
    return blush_part(found, recoat_window(resin, lots, gathering))


def _pot(resin: "Resin", told: str, shape: str, path: "History") -> "CurePotDocument":
    from curewatch.answers.cure import pot_part
    from curewatch.cli.typed import batch_mass_from_text
    from curewatch.errors import UsageError
    from curewatch.model.film.lots import EARLY, LATE, rate_factor_at
    from curewatch.model.mass.pot import SHAPES, pot

    if shape not in SHAPES:
        raise UsageError(f"--shape {shape!r}; allowed: {', '.join(SHAPES)}")
    mass, air = batch_mass_from_text(told), float(path.temperature[0])
    factors = (rate_factor_at(resin, LATE), 1.0, rate_factor_at(resin, EARLY))
    pots = [pot(resin, mass, air, shape=shape, rate_factor=factor) for factor in factors]
    return pot_part(mass, shape, air, pots)


def _laminate(resin: "Resin", millimetres: float, substrate: str, path: "History") -> "CureLaminateDocument":
    from curewatch.answers.cure import laminate_part
    from curewatch.errors import UsageError
    from curewatch.materials.substrate import load_substrate
    from curewatch.model.film.recoat_window import ONE_FILM
    from curewatch.model.mass.laminate import LaminateLayer, laminate, layers_in_one_go

    if not 0.1 <= millimetres <= 200.0:
        raise UsageError(f"--thickness {millimetres:g}; allowed: 0.1 to 200 mm")
    under, thickness = load_substrate(substrate), millimetres / 1000.0
    whole = laminate(resin, [LaminateLayer(0.0, thickness)], path, under)
    at_once = layers_in_one_go(resin, ONE_FILM, path, under)
    return laminate_part(thickness, ONE_FILM, substrate, whole, at_once)


def _history(temperature: str | None, file: Path | None, hours: float | None) -> "History":
    from curewatch.cli.history_file import cut, read_history
    from curewatch.cli.typed import both_scales, temperature_from_text
    from curewatch.errors import UsageError
    from curewatch.model.film.film import constant
    from curewatch.units import HOUR, celsius_from_kelvin

    if (temperature is None) == (file is None):
        raise UsageError("give either --temperature or --history, one of the two")
    if hours is not None and not SHORTEST <= hours <= LONGEST:
        raise UsageError(f"--hours {hours:g}; allowed: {SHORTEST:g} to {LONGEST:g}")
    if file is not None:
        read = read_history(file)
        if hours is None and read.time[-1] > LONGEST * HOUR:
            raise UsageError(
                f"{file} spans {read.time[-1] / HOUR:.0f} h; allowed: {LONGEST:g}; cut it by --hours"
            )
        return read if hours is None else cut(read, hours * HOUR)
    kelvin = temperature_from_text(str(temperature))
    if not -30.0 <= celsius_from_kelvin(kelvin) <= 150.0:
        raise UsageError(f"--temperature {temperature!r}; allowed: {both_scales(-30, 150)}")
    return constant(kelvin, (48.0 if hours is None else hours) * HOUR)
