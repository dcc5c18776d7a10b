"""``curewatch cure``: what becomes of one film, at a temperature or along a history."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import (
    ConfigOption,
    JsonOption,
    PlainOption,
    UnitsOption,
    WhyOption,
    common_settings,
    settings,
)

if TYPE_CHECKING:
    from curewatch.answers.cure import CureBlushDocument, CureLaminateDocument, CurePotDocument
    from curewatch.materials import Resin
    from curewatch.model.film.film import History
    from curewatch.model.film.outcome import FilmOutcome
    from curewatch.model.mass.buildup import Buildup
    from curewatch.wording import Wording

SPREAD = 60.0  # s of working time: nobody mixes and spreads a film in less (ours)
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
            "--mass", metavar="MASS", help="Also this batch in its pot, e.g. '350 g'.", show_default=False
        ),
    ] = None,
    shape: Annotated[str, typer.Option("--shape", help="Of the pot: cup, tray or roller-tray.")] = "cup",
    thickness: Annotated[
        float | None,
        typer.Option(
            "--thickness", metavar="MM", help="A layer as thick as this; else one film.", show_default=False
        ),
    ] = None,
    substrate: Annotated[
        str, typer.Option("--on", metavar="SUBSTRATE", help="What the laminate lies on.")
    ] = "plywood",
    humidity: Annotated[
        float | None,
        typer.Option(
            "--humidity", metavar="PERCENT", help="At the surface: also for blush.", show_default=False
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
            help="In the pot before it is spread, for blush; else as the sheet states.",
            show_default=False,
        ),
    ] = None,
    chart: Annotated[
        Path | None,
        typer.Option("--chart", metavar="FILE", help="Also draw it, as .svg or .png.", show_default=False),
    ] = None,
    why: WhyOption = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Cure of one layer over time: conversion, glass transition, and when it gels, dries and hardens.

    Give a steady temperature, or a history of the surface as a CSV. With --why also the curves. With
    --mass also when that batch kicks in its pot; with --thickness how hot a laminate gets; with
    --humidity whether amine blush forms.

    Example: curewatch cure --resin epoxy-slow --temperature 12 --hours 48
    """
    from curewatch.answers.cure import cure_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import cure as screen
    from curewatch.errors import UsageError
    from curewatch.materials import load_resin
    from curewatch.materials.substrate import substrate_names
    from curewatch.model.film.outcome import outcome

    configuration, wording = (settings if named is None else common_settings)(config, units)
    resin = load_resin(configuration.resin.name if named is None else named, configuration.resin.folder)
    if peroxide is None and named in {None, configuration.resin.name}:
        peroxide = resin.configured_dose(configuration.resin.peroxide_percent, configuration.file)
    dose = resin.dose_used(peroxide)
    resin = resin.dosed(peroxide, cobalt)
    if substrate not in substrate_names():
        raise UsageError(f"--on: found {substrate!r}. Use {', '.join(substrate_names())}")
    path = _history(temperature, history, hours, wording)
    buildup = _buildup(thickness, substrate)
    said = outcome(resin, path, buildup=buildup)
    if humidity is not None:
        _must_be_air(humidity, carbon_dioxide)
    if chart is not None:
        from curewatch.cli.figures import draw

        draw(said, chart, wording)
    answer = cure_document(
        said,
        dose,
        do_not=_against(said, path, humidity),
        blush=None if humidity is None else _blush(resin, path, buildup, (humidity, carbon_dioxide), rest),
        pot=None if mass is None else _pot(resin, mass, shape, path, wording),
        laminate=_laminate(said, buildup, path),
    )
    if as_json:
        terminal.print_json(answer)
        return
    terminal.print_lines(screen.lines(answer, wording, terminal.columns(), why=why), plain=plain)


def _must_be_air(humidity: float, carbon_dioxide: float) -> None:
    """Refuse what no air can be, before anything is worked out from it."""
    from curewatch.errors import UsageError

    if not 1.0 <= humidity <= 100.0:
        hint = f"; if that was a fraction, give {100 * humidity:g}" if 0.0 < humidity < 1.0 else ""
        raise UsageError(f"--humidity: found {humidity:g}. Use 1 to 100 %{hint}")
    if not 100.0 <= carbon_dioxide <= 50_000.0:
        raise UsageError(f"--carbon-dioxide: found {carbon_dioxide:g}. Use 100 to 50000 ppm")


def _against(said: "FilmOutcome", path: "History", humidity: float | None) -> str:
    """Why this film must not be laid: too hot to spread, wet, or too cold before it is tack-free."""
    import math

    from curewatch.advice.judge.comparison import forbidden
    from curewatch.model.air.surface import condensation_margin
    from curewatch.physics.moist_air import vapour_pressure

    if float(said.marks["working_time"].early) < SPREAD:
        return "do not: it is too hot to be spread before it gels"
    until = float(said.marks["tack_free"].likely)
    lowest = path.temperature[path.time <= until] if math.isfinite(until) else path.temperature
    start, margin = float(path.temperature[0]), None
    if humidity is not None:
        margin = float(condensation_margin(start, vapour_pressure(start, humidity / 100.0)))
    return forbidden(said.resin, float(lowest.min()), margin)


def _blush(
    resin: "Resin",
    path: "History",
    buildup: "Buildup | None",
    air: tuple[float, float],
    rest: str | None,
) -> "CureBlushDocument":
    """Blush of every lot in air that stays as humid at the surface, and the recoat window with it."""
    import numpy as np

    from curewatch.answers.cure import blush_part
    from curewatch.cli.typed import span_from_text
    from curewatch.model.film import blush
    from curewatch.model.film.damp_air import acceleration
    from curewatch.model.film.ensemble import cures
    from curewatch.model.film.ensemble_steps import Heat
    from curewatch.model.film.film import History
    from curewatch.model.film.lots import STRATA
    from curewatch.model.film.recoat_window import recoat_window

    heat = None if buildup is None else Heat(buildup)
    lots = cures(resin, History(path.time, np.tile(path.temperature, (STRATA, 1))), heat=heat)
    damp, gas = air[0] / 100.0, air[1] * 1e-6
    stood = resin.blush.rest or 0.0 if rest is None else span_from_text(rest, "--rest")
    found = blush.blush(resin, lots, damp, gas, rest=stood)
    gathering = blush.rate(resin, lots.temperature, np.full(lots.conversion.shape, damp), gas)
    window = recoat_window(resin, lots, gathering, acceleration(resin, np.full(STRATA, damp)))
    return blush_part(found, window)


def _pot(resin: "Resin", told: str, shape: str, path: "History", words: "Wording") -> "CurePotDocument":
    from curewatch.answers.cure import pot_part
    from curewatch.cli.typed import batch_mass_from_text
    from curewatch.errors import UsageError
    from curewatch.model.film.lots import FAST, rate_factor_at
    from curewatch.model.mass.pot import SHAPES, WATCHED, pot

    if shape not in SHAPES:
        raise UsageError(f"--shape: found {shape!r}. Use {', '.join(SHAPES)}")
    mass, air = batch_mass_from_text(told, words=words), float(path.temperature[0])
    factors = (rate_factor_at(resin, FAST), 1.0, rate_factor_at(resin, 1.0 - FAST))
    pots = [pot(resin, mass, air, shape=shape, duration=WATCHED, rate_factor=factor) for factor in factors]
    return pot_part(mass, shape, air, pots)


def _buildup(millimetres: float | None, substrate: str) -> "Buildup | None":
    """The layer as told; none for a film."""
    from curewatch.errors import UsageError
    from curewatch.materials.substrate import load_substrate
    from curewatch.model.mass.buildup import THICKEST, THINNEST, Buildup

    if millimetres is None:
        return None
    if not THINNEST <= millimetres / 1000.0 <= THICKEST:
        raise UsageError(
            f"--thickness: found {millimetres:g}. Use {1e3 * THINNEST:g} to {1e3 * THICKEST:g} mm"
        )
    return Buildup(millimetres / 1000.0, load_substrate(substrate))


def _laminate(
    said: "FilmOutcome", buildup: "Buildup | None", path: "History"
) -> "CureLaminateDocument | None":
    from curewatch.answers.cure import laminate_part
    from curewatch.model.mass.buildup import ONE_FILM
    from curewatch.model.mass.laminate import layers_in_one_go

    if buildup is None or said.layer is None:
        return None
    at_once = layers_in_one_go(said.resin, ONE_FILM, path, buildup.substrate)
    return laminate_part(buildup, said.layer, at_once)


def _history(temperature: str | None, file: Path | None, hours: float | None, words: "Wording") -> "History":
    from curewatch.cli.history_file import cut, read_history
    from curewatch.cli.typed import cure_temperature_from_text
    from curewatch.errors import UsageError
    from curewatch.model.film.film import constant
    from curewatch.units import HOUR

    if (temperature is None) == (file is None):
        raise UsageError("give either --temperature or --history, one of the two")
    if hours is not None and not SHORTEST <= hours <= LONGEST:
        raise UsageError(f"--hours: found {hours:g}. Use {SHORTEST:g} to {LONGEST:g}")
    if file is not None:
        read = read_history(file)
        if hours is None and read.time[-1] > LONGEST * HOUR:
            raise UsageError(
                f"{file}: found {read.time[-1] / HOUR:.0f} h. Use at most {LONGEST:g} h, or cut it by --hours"
            )
        return read if hours is None else cut(read, hours * HOUR)
    kelvin = cure_temperature_from_text(str(temperature), words=words)
    return constant(kelvin, (48.0 if hours is None else hours) * HOUR)
