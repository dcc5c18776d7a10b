"""The document of `resin-compare`."""

from typing import Annotated

from curewatch.answers.document import BandDocument, Shape, says


class ResinCompareConditionsDocument(Shape, frozen=True, kw_only=True):
    """Where."""

    temperature_c: Annotated[float, says("Air")]
    humidity_percent: Annotated[float, says("Air")]
    surface_temperature_c: Annotated[float, says("Work")]
    source: Annotated[str, says("as given, or as measured")]


class ResinCompareResinDocument(Shape, frozen=True, kw_only=True):
    """One of the ``system`` of resin compare."""

    name: Annotated[str, says("Name")]
    kind: Annotated[str, says("Chemistry")]
    do_not: Annotated[
        str, says("Why it must not be laid here, whatever the times beside; empty if nothing forbids it")
    ]
    working_time_s: Annotated[BandDocument, says("Working time ends")]
    gel_s: Annotated[BandDocument, says("Gel")]
    laminate_from_s: Annotated[BandDocument, says("Next layer from")]
    laminate_before_s: Annotated[BandDocument, says("Next layer before")]
    firm_s: Annotated[BandDocument, says("Firm: may be handled")]
    ready_to_sand_s: Annotated[BandDocument, says("Ready to sand: firm, and the stated wait is over")]
    blush: Annotated[str, says("What blush will take")]
    glass_transition_c: Annotated[float | None, says("Reached; null where no maker's sheet states one")]
    lowest_temperature_c: Annotated[float, says("By its sheet")]
    air_inhibited: Annotated[bool, says("Its face stays tacky in air, unless it is waxed")]
    wax: Annotated[bool, says("Waxed: abrade before the next layer")]
    price_per_kilogram: Annotated[float | None, says("If the user gave one")]
    currency: Annotated[str | None, says("Of the price")]


class ResinCompareDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin compare`; seconds from mixing."""

    conditions: Annotated[ResinCompareConditionsDocument, says("Where")]
    band: Annotated[str, says("What the bands hold")]
    resins: Annotated[list[ResinCompareResinDocument], says("Side by side")]
