"""The document of `resin show`: what a resin system does as a film, and every number with its origin."""

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Annotated

from msgspec import Struct
from msgspec.structs import fields

from curewatch.answers.document import Shape, celsius, code, number, says
from curewatch.answers.parts import ScoreDocument, score_parts
from curewatch.answers.resin_list import ChemistryCode

if TYPE_CHECKING:
    from curewatch.materials.resin import Origin, Resin
    from curewatch.model.film.milestones import Milestones
    from curewatch.model.fit.score import Deviation

SHOWN_UNIT = {  # the unit in which a person reads a quantity, where the file allows several
    "J/mol": "kJ/mol",
    "J/kg": "kJ/kg",
    "1/s": "1/h",
    "kg/m3": "g/cm3",
    "J/(kg K)": "kJ/(kg K)",
    "K": "degC",
    "s": "h",
    "s %": "min %",
    "1": "1",
}
SECTIONS = ("kinetics", "network", "milestones", "thermal", "mix", "dose", "blush", "bond", "limits", "price")


class ResinShowValueDocument(Shape, frozen=True, kw_only=True):
    """One number of a resin system."""

    key: Annotated[str, says("As in its file")]
    value: Annotated[float, says("Value")]
    unit: Annotated[str, says("Of value")]
    tag: Annotated[str, says("Kind of origin: published, common-practice, sheet, learned …")]
    source: Annotated[str, says("Origin")]
    spread: Annotated[float | None, says("Standard deviation")]
    spread_unit: Annotated[str | None, says("Of spread")]


class ResinShowFilmDocument(Shape, frozen=True, kw_only=True):
    """What it does as a film at one temperature; null where it does not come to that."""

    temperature_c: Annotated[float, says("Of the film")]
    working_time_s: Annotated[float | None, says("Working time ends")]
    recoat_from_s: Annotated[float | None, says("Next layer may go on")]
    gel_s: Annotated[float | None, says("Gel")]
    tack_free_s: Annotated[float | None, says("Tack-free")]
    firm_s: Annotated[float | None, says("Firm: may be handled")]
    ready_to_sand_s: Annotated[float | None, says("Ready to sand: firm, and the stated wait is over")]


class ResinShowDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin show`."""

    name: Annotated[str, says("Name")]
    title: Annotated[str, says("Title")]
    kind: ChemistryCode
    note: Annotated[str, says("A remark")]
    parent: Annotated[str, says("Based on, or empty")]
    version: Annotated[int, says("Version")]
    air_inhibited: Annotated[bool, says("Its face stays tacky in air, unless it is waxed")]
    wax: Annotated[bool, says("Waxed: abrade before the next layer")]
    rate_sd: Annotated[float, says("Spread of lots: standard deviation of the logarithm of the rate")]
    values: Annotated[list[ResinShowValueDocument], says("Every number of the resin")]
    film: Annotated[list[ResinShowFilmDocument], says("What it does as a film")]
    score: Annotated[list[ScoreDocument], says("How often the ranges told of it came true here")]
    spread_ratio: Annotated[float, says("By what factor spreads are told wider for that; 1 for no wider")]


def resin_show_document(
    resin: "Resin", behaviour: "Iterable[tuple[float, Milestones]]", pulls: "Sequence[Deviation]" = ()
) -> ResinShowDocument:
    """A resin system, its marks as a film at these temperatures [K], and what came of its ranges."""
    from curewatch.model.fit.score import widening

    return ResinShowDocument(
        name=resin.name,
        title=resin.title,
        kind=code(resin.chemistry.name),
        note=resin.note,
        parent=resin.parent,
        version=resin.version,
        air_inhibited=resin.surface.air_inhibited,
        wax=resin.surface.wax,
        rate_sd=resin.rate_sd,
        values=list(_values(resin)),
        film=[_film(kelvin, marks) for kelvin, marks in behaviour],
        score=score_parts(pulls),
        spread_ratio=round(widening(each.pull for each in pulls), 3),
    )


def _film(kelvin: float, marks: "Milestones") -> ResinShowFilmDocument:
    return ResinShowFilmDocument(
        temperature_c=celsius(kelvin),
        working_time_s=number(marks.working_time),
        recoat_from_s=number(marks.recoat_from),
        gel_s=number(marks.gel),
        tack_free_s=number(marks.tack_free),
        firm_s=number(marks.firm),
        ready_to_sand_s=number(marks.ready_to_sand),
    )


def _values(resin: "Resin") -> Iterator[ResinShowValueDocument]:
    """Every number of a resin in a reading unit, with tag, source and spread."""
    from curewatch.materials.quantities import QUANTITIES
    from curewatch.materials.resin_files import origin_of

    for section in SECTIONS:
        part = getattr(resin, section)
        if not isinstance(part, Struct):
            continue
        for each in fields(part):
            key, value = f"{section}.{each.name}", getattr(part, each.name)
            if key in QUANTITIES and value is not None:
                yield _value(key, value, origin_of(resin, key))
    key = "uncertainty.rate_sd"
    yield _value(key, resin.rate_sd, origin_of(resin, key))


def _value(key: str, value: float, origin: "Origin") -> ResinShowValueDocument:
    from curewatch.materials.quantities import QUANTITIES

    units = QUANTITIES[key].units
    wanted = [SHOWN_UNIT[name] for name in units if name in SHOWN_UNIT]
    unit = next((name for name in wanted if name in units), next(iter(units)))
    scale = units[unit]
    return ResinShowValueDocument(
        key=key,
        value=float(f"{(value - scale.offset) / scale.factor:.6g}"),
        unit=unit,
        tag=code(origin.tag),
        source=origin.source,
        spread=origin.spread,
        spread_unit=origin.spread_unit or None,
    )
