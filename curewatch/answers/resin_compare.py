"""The document of `resin compare`: resin systems side by side in one steady air."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.cure import BlushOutcome
from curewatch.answers.document import BandDocument, Shape, band, celsius, code, number, says
from curewatch.answers.resin_list import ChemistryCode
from curewatch.units import percent_from_fraction

if TYPE_CHECKING:
    from curewatch.advice.judge.comparison import Row


class ResinCompareConditionsDocument(Shape, frozen=True, kw_only=True):
    """The air and the work."""

    temperature_c: Annotated[float, says("Air")]
    humidity_percent: Annotated[float, says("Air")]
    surface_temperature_c: Annotated[float, says("Work")]
    source: Annotated[str, says("Where these come from, in words")]


class ResinCompareResinDocument(Shape, frozen=True, kw_only=True):
    """One resin system."""

    name: Annotated[str, says("Name")]
    kind: ChemistryCode
    do_not: Annotated[
        str, says("Why it must not be laid here, whatever the times beside; empty if nothing forbids it")
    ]
    working_time_s: Annotated[BandDocument, says("Working time ends")]
    gel_s: Annotated[BandDocument, says("Gel")]
    laminate_from_s: Annotated[BandDocument, says("Next layer from")]
    laminate_before_s: Annotated[BandDocument, says("Next layer before")]
    firm_s: Annotated[BandDocument, says("Firm: may be handled")]
    ready_to_sand_s: Annotated[BandDocument, says("Ready to sand: firm, and the stated wait is over")]
    blush: Annotated[BlushOutcome, says("What blush will take")]
    glass_transition_c: Annotated[float | None, says("Reached; null where no maker's sheet states one")]
    lowest_temperature_c: Annotated[float, says("By its sheet")]
    air_inhibited: Annotated[bool, says("Its face stays tacky in air, unless it is waxed")]
    wax: Annotated[bool, says("Waxed: abrade before the next layer")]
    price_per_kilogram: Annotated[float | None, says("If the user gave one")]
    currency: Annotated[str | None, says("Of the price")]


class ResinCompareDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin compare`; seconds from mixing, as a film."""

    conditions: Annotated[ResinCompareConditionsDocument, says("Where")]
    band: Annotated[str, says("What the bands hold")]
    resins: Annotated[list[ResinCompareResinDocument], says("Side by side")]


def resin_compare_document(
    rows: "Iterable[Row]", *, air: float, relative_humidity: float, work: float, source: str
) -> ResinCompareDocument:
    """The rows, and the air and the work that they stand for, as a document. [K], [1], [K]"""
    return ResinCompareDocument(
        conditions=ResinCompareConditionsDocument(
            temperature_c=celsius(air),
            humidity_percent=round(percent_from_fraction(relative_humidity), 1),
            surface_temperature_c=celsius(work),
            source=source,
        ),
        band="8 in 10 lots between early and late, seconds from mixing, as a film",
        resins=[_resin(row) for row in rows],
    )


def _resin(row: "Row") -> ResinCompareResinDocument:
    resin, price = row.resin, row.resin.price
    return ResinCompareResinDocument(
        name=resin.name,
        kind=code(resin.chemistry.name),
        do_not=row.do_not,
        working_time_s=band(*row.working_time),
        gel_s=band(*row.gel),
        laminate_from_s=band(*row.laminate_from),
        laminate_before_s=band(*row.laminate_before),
        firm_s=band(*row.firm),
        ready_to_sand_s=band(*row.ready_to_sand),
        blush=code(row.blush),
        glass_transition_c=None if resin.network.stated is None else celsius(row.glass_transition),
        lowest_temperature_c=celsius(resin.limits.lowest_temperature),
        air_inhibited=resin.surface.air_inhibited,
        wax=resin.surface.wax,
        price_per_kilogram=None if price is None else number(price.per_kilogram, 2),
        currency=None if price is None else price.currency,
    )
