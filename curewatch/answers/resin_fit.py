"""The document of `resin fit`: how each statement of a maker's sheet is met, and what it leaves open."""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import BandDocument, Shape, band, celsius, code, says
from curewatch.answers.resin_list import ChemistryCode

if TYPE_CHECKING:
    from curewatch.materials.maker_sheet import MakerSheet
    from curewatch.model.film.ensemble import Interval
    from curewatch.model.fit.sheet_doubts import Contradiction
    from curewatch.model.fit.sheet_fit import LostWindow, Met, SheetFit

Unit = Literal["s", "degC"]


class ResinFitStatementDocument(Shape, frozen=True, kw_only=True):
    """One statement of the sheet, and what the fit makes of it."""

    title: Annotated[str, says("In words")]
    line: Annotated[int | None, says("In the form")]
    unit: Annotated[Unit, says("Of stated, computed, early and late")]
    stated: Annotated[float, says("By the sheet")]
    computed: Annotated[float, says("By the fit")]
    early: Annotated[float, says("Lower edge")]
    late: Annotated[float, says("Upper edge")]
    pull: Annotated[float, says("Miss in standard deviations of the statement")]
    verdict: Annotated[
        Literal["met", "kept", "nearly-met", "not-met"],
        says("How well it is met; kept: the fit is sooner, or it ends a window; the maker's time is used"),
    ]
    cautious: Annotated[bool, says("Far off on the side on which makers are cautious")]
    foretold_low: Annotated[float | None, says("What the others foretell at least, where it is far off")]
    foretold_high: Annotated[float | None, says("The same at most; null where it follows from the others")]


class ResinFitContradictionDocument(Shape, frozen=True, kw_only=True):
    """Two statements that do not go together."""

    one: Annotated[str, says("Statement")]
    other: Annotated[str, says("Statement")]
    unit: Annotated[Unit, says("Of the figures")]
    expected_low: Annotated[float, says("What the other would at least be if the one holds")]
    expected_high: Annotated[float, says("What the other would at most be if the one holds")]
    stated: Annotated[float, says("What it states")]


class ResinFitLostWindowDocument(Shape, frozen=True, kw_only=True):
    """A stated recoat limit that comes before the window opens."""

    closes_s: Annotated[float, says("As stated")]
    opens_s: Annotated[float, says("By the other statements")]
    temperature_c: Annotated[float, says("Of both")]


class ResinFitStillUnknownDocument(Shape, frozen=True, kw_only=True):
    """Something that the sheet does not tell."""

    what: Annotated[str, says("What")]
    would_tell: Annotated[str, says("A statement that would")]


class ResinFitFilmDocument(Shape, frozen=True, kw_only=True):
    """What it does as a film at one temperature."""

    temperature_c: Annotated[float, says("Of the film")]
    working_time_s: Annotated[BandDocument, says("Working time ends")]
    gel_s: Annotated[BandDocument, says("Gel")]
    tack_free_s: Annotated[BandDocument, says("Tack-free")]
    firm_s: Annotated[BandDocument, says("Firm: may be handled")]


class ResinFitDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch resin fit SHEET.toml`."""

    name: Annotated[str, says("Name of the resin system")]
    kind: ChemistryCode
    dosed: Annotated[bool, says("Mixed by a dose of peroxide, not by a ratio")]
    based_on: Annotated[str, says("Archetype")]
    source: Annotated[str, says("The sheet")]
    band: Annotated[str, says("What the bands of statements hold")]
    statements: Annotated[list[ResinFitStatementDocument], says("How well each is met")]
    contradictions: Annotated[list[ResinFitContradictionDocument], says("Pairs that do not go together")]
    recoat_before_it_opens: Annotated[
        ResinFitLostWindowDocument | None,
        says("A stated recoat limit that comes before the window opens; null if there is none"),
    ]
    still_unknown: Annotated[list[ResinFitStillUnknownDocument], says("What the sheet does not tell")]
    unknown_as_in: Annotated[str, says("The resin from which that is taken")]
    assumed: Annotated[list[str], says("Of the mix, where the sheet is silent")]
    film: Annotated[
        list[ResinFitFilmDocument],
        says("What it does as a film: 8 in 10 lots, what the fit leaves open included"),
    ]
    covariance_keys: Annotated[list[str], says("Numbers whose covariance is kept")]


def resin_fit_document(
    sheet: "MakerSheet", found: "SheetFit", films: "Iterable[tuple[float, Mapping[str, Interval]]]"
) -> ResinFitDocument:
    """The fit, and its marks as a film at these temperatures, as a document. [K]"""
    return ResinFitDocument(
        name=found.resin.name,
        kind=code(sheet.chemistry.name),
        dosed=sheet.chemistry.dosed,
        based_on=sheet.based_on,
        source=sheet.source,
        band="8 in 10, by what the fit leaves uncertain; a lot's spread comes on top",
        statements=[_statement(each) for each in found.met],
        contradictions=[_contradiction(each) for each in found.contradictions],
        recoat_before_it_opens=_lost_window(found.lost_window),
        still_unknown=[
            ResinFitStillUnknownDocument(what=each.words, would_tell=each.asks_for)
            for each in found.still_unknown
        ],
        unknown_as_in=found.base.parent,
        assumed=list(sheet.mix_assumed),
        film=[_film(kelvin, marks) for kelvin, marks in films],
        covariance_keys=list(found.resin.covariance.keys),
    )


def _statement(each: "Met") -> ResinFitStatementDocument:
    unit = _unit(each.title)
    return ResinFitStatementDocument(
        title=each.title,
        line=each.line,
        unit=unit,
        stated=_in(unit, each.stated),
        computed=_in(unit, each.computed),
        early=_in(unit, each.early),
        late=_in(unit, each.late),
        pull=round(each.pull, 2),
        verdict=code(each.verdict),
        cautious=each.cautious,
        foretold_low=None if each.foretold is None else _in(unit, each.foretold[0]),
        foretold_high=None if each.foretold is None else _in(unit, each.foretold[1]),
    )


def _contradiction(each: "Contradiction") -> ResinFitContradictionDocument:
    unit = _unit(each.other)
    low, high = each.expected
    return ResinFitContradictionDocument(
        one=each.one,
        other=each.other,
        unit=unit,
        expected_low=_in(unit, low),
        expected_high=_in(unit, high),
        stated=_in(unit, each.stated),
    )


def _lost_window(lost: "LostWindow | None") -> ResinFitLostWindowDocument | None:
    if lost is None:
        return None
    return ResinFitLostWindowDocument(
        closes_s=lost.closes, opens_s=round(lost.opens, 1), temperature_c=celsius(lost.temperature)
    )


def _film(kelvin: float, marks: "Mapping[str, Interval]") -> ResinFitFilmDocument:
    return ResinFitFilmDocument(
        temperature_c=celsius(kelvin),
        working_time_s=band(*marks["working_time"]),
        gel_s=band(*marks["gel"]),
        tack_free_s=band(*marks["tack_free"]),
        firm_s=band(*marks["firm"]),
    )


def _unit(title: str) -> Unit:
    """Of what a statement of this title states: a glass transition, or a time."""
    return "degC" if title.startswith("Tg") else "s"


def _in(unit: Unit, value: float) -> float:
    return celsius(value) if unit == "degC" else round(float(value), 2)
