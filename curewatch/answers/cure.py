"""The document of `cure`: one film, its pot and its laminate, and what would finish it."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import BandDocument, Shape, band, celsius, code, number, says
from curewatch.answers.resin_list import ChemistryCode

if TYPE_CHECKING:
    from curewatch.materials.resin import DoseUsed
    from curewatch.model.film.blush import Blush
    from curewatch.model.film.ensemble import Interval
    from curewatch.model.film.finish import Finish
    from curewatch.model.film.outcome import FilmOutcome
    from curewatch.model.film.recoat_window import RecoatWindow
    from curewatch.model.mass.buildup import Buildup
    from curewatch.model.mass.laminate import Laminate, LayerCount
    from curewatch.model.mass.pot import Pot
    from curewatch.units import FloatArray

POINTS = 289  # of the curves


BlushOutcome = Literal["none", "peel-ply", "wash-and-abrade"]


class CureMilestonesDocument(Shape, frozen=True, kw_only=True):
    """Marks."""

    working_time: Annotated[BandDocument, says("Working time ends")]
    recoat_from: Annotated[BandDocument, says("Next layer may go on")]
    gel: Annotated[BandDocument, says("Gel")]
    tack_free: Annotated[BandDocument, says("Tack-free")]
    firm: Annotated[BandDocument, says("Firm: may be handled")]
    ready_to_sand: Annotated[BandDocument, says("Ready to sand: firm, and the stated wait is over")]


class CureRecoatWindowDocument(Shape, frozen=True, kw_only=True):
    """Of the next layer."""

    wet_on_wet_until_s: Annotated[float | None, says("Gel: until then the next ply may go on at once")]
    opens_s: Annotated[float | None, says("Opens")]
    closes_s: Annotated[float | None, says("Closes")]
    cause: Annotated[str, says("What closes it, or empty")]
    afterwards: Annotated[str, says("What to do once it is closed")]
    blush_may_close_it: Annotated[bool, says("This resin may blush, which closes it sooner")]
    remark: Annotated[str, says("What it holds for")]


class CureStallDocument(Shape, frozen=True, kw_only=True):
    """Where the cold stopped it before it was done."""

    at_s: Annotated[float, says("When")]
    conversion: Annotated[float, says("Conversion there")]
    glass_transition_c: Annotated[float, says("Glass transition there")]
    before: Annotated[Literal["gel", "tack-free", "full-cure"], says("What it fell short of")]


class CureOvenStepDocument(Shape, frozen=True, kw_only=True):
    """A step of a post-cure."""

    temperature_c: Annotated[float, says("Held at")]
    duration_s: Annotated[float, says("For so long, the warming up from the step before included")]


class CurePostCureDocument(Shape, frozen=True, kw_only=True):
    """A post-cure: a schedule."""

    temperature_c: Annotated[float, says("How hot at the end")]
    duration_s: Annotated[float, says("How long in all")]
    steps: Annotated[list[CureOvenStepDocument], says("One after another; the last is the hold")]


class CureServiceDocument(Shape, frozen=True, kw_only=True):
    """Something that a finished part must stand."""

    title: Annotated[str, says("What it is")]
    temperature_c: Annotated[float, says("Its temperature")]
    tag: Annotated[str, says("Kind of origin: published, common-practice, from-memory …")]
    source: Annotated[str, says("Origin")]
    stands_now: Annotated[bool, says("As it is")]
    stands_finished: Annotated[bool, says("When finished")]
    spare_k: Annotated[float, says("Left over now")]


class CureFinishDocument(Shape, frozen=True, kw_only=True):
    """What the shed reaches and what a post-cure brings."""

    glass_transition_c: Annotated[float, says("Now")]
    least_c: Annotated[float, says("Now, by the lower band: services are judged by it")]
    reachable_c: Annotated[float, says("In two more weeks as it is")]
    reachable_least_c: Annotated[float, says("In two more weeks, by the lower band")]
    wanted_c: Annotated[
        float | None, says("When finished; null where no maker's sheet states a glass transition")
    ]
    finished: Annotated[bool | None, says("Whether it is; null where that is not known")]
    post_cures: Annotated[list[CurePostCureDocument], says("Any one of them finishes it")]
    hottest_post_cure_c: Annotated[float, says("The hottest that is looked at")]
    start_no_warmer_c: Annotated[float, says("How warm it may be made at first")]
    ramp_k_per_hour: Annotated[float, says("How fast it is warmed at most")]
    softens_above_k: Annotated[float, says("How far a step may lie above the glass transition of then")]
    method: Annotated[Literal["calorimetry"], says("Of each glass transition here; DMTA reads higher")]
    dmta_reads_higher_k: Annotated[float, says("By about so much")]
    margin_k: Annotated[float, says("Wanted between service and glass transition")]
    service: Annotated[list[CureServiceDocument], says("What the part may stand")]
    not_known: Annotated[str, says("Why services and post-cures are not judged; empty where they are")]
    caution: Annotated[str, says("Caution")]


class CureCurveDocument(Shape, frozen=True, kw_only=True):
    """A curve with its edges; 8 in 10 lots lie between them."""

    early: Annotated[list[float], says("Lower edge")]
    likely: Annotated[list[float], says("The usual lot")]
    late: Annotated[list[float], says("Upper edge")]


class CureBlushDocument(Shape, frozen=True, kw_only=True):
    """With --humidity."""

    outcome: Annotated[BlushOutcome, says("What it takes")]
    worst: Annotated[BlushOutcome, says("What the slowest lots take")]
    reason: Annotated[str, says("Why")]
    water_condenses: Annotated[bool, says("Water condenses on the uncured film: no-go")]
    exposure_s: Annotated[BandDocument, says("Time in saturated air at 20 °C that would do the same")]
    recoat_before_s: Annotated[float | None, says("When the recoat window closes, early edge")]
    recoat_cause: Annotated[str, says("What closes it")]
    recoat_afterwards: Annotated[str, says("What to do once it is closed")]


class CurePotDocument(Shape, frozen=True, kw_only=True):
    """With --mass."""

    mass_g: Annotated[float, says("Mass")]
    shape: Annotated[Literal["cup", "tray", "roller-tray"], says("Of the pot")]
    air_temperature_c: Annotated[float, says("Air")]
    pot_life_s: Annotated[BandDocument, says("Until it kicks")]
    working_life_s: Annotated[float | None, says("Until it is too thick to spread")]
    peak_temperature_c: Annotated[float, says("Hottest")]
    peak_s: Annotated[float | None, says("When")]
    may_overheat: Annotated[bool, says("A fast lot may get hot enough to smoke")]
    caution: Annotated[str, says("What to mind then; empty where it does not")]
    caution_brief: Annotated[str, says("The same in a few words")]
    biot: Annotated[float, says("How unevenly it heats")]


class CureLaminateDocument(Shape, frozen=True, kw_only=True):
    """With --thickness."""

    thickness_mm: Annotated[float, says("Thickness")]
    substrate: Annotated[str, says("What it lies on")]
    peak_temperature_c: Annotated[float, says("Hottest")]
    peak_s: Annotated[float | None, says("When")]
    layer_mm: Annotated[float, says("One layer")]
    layers_in_one_go: Annotated[int, says("At most")]
    limit_c: Annotated[float, says("What it may reach")]
    peak_of_one_more_c: Annotated[float | None, says("What one more would reach")]


class CureDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch cure`; times in seconds from mixing, null where not reached."""

    do_not: Annotated[
        str, says("Why it must not be laid here, whatever the times beside; empty if nothing forbids it")
    ]
    resin: Annotated[str, says("Resin")]
    title: Annotated[str, says("Title")]
    kind: ChemistryCode
    peroxide_percent: Annotated[
        float | None, says("Dose, per cent by mass of resin; null where the ratio is fixed")
    ]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    note: Annotated[str, says("A remark")]
    band: Annotated[str, says("What the bands hold")]
    milestones_s: Annotated[CureMilestonesDocument, says("Marks")]
    recoat_window: Annotated[CureRecoatWindowDocument, says("Of the next layer")]
    stall: Annotated[
        CureStallDocument | None, says("Where the cold stopped it before it was done; null where nothing did")
    ]
    final_conversion: Annotated[float, says("At the end, 0 to 1")]
    final_glass_transition_c: Annotated[float, says("At the end")]
    doubts: Annotated[list[str], says("Why it should be taken with care")]
    finish: Annotated[CureFinishDocument, says("What the shed reaches and what a post-cure brings")]
    duration_s: Annotated[float, says("From mixing to the end of what was looked at")]
    time_s: Annotated[list[float], says("Of the curves")]
    temperature_c: Annotated[list[float], says("Of the film")]
    conversion: Annotated[CureCurveDocument, says("Conversion, 0 to 1")]
    glass_transition_c: Annotated[CureCurveDocument, says("Glass transition, °C")]
    blush: Annotated[CureBlushDocument | None, says("With --humidity")]
    pot: Annotated[CurePotDocument | None, says("With --mass")]
    laminate: Annotated[CureLaminateDocument | None, says("With --thickness")]


def cure_document(
    said: "FilmOutcome",
    dose: "DoseUsed",
    *,
    do_not: str,
    blush: CureBlushDocument | None = None,
    pot: CurePotDocument | None = None,
    laminate: CureLaminateDocument | None = None,
) -> CureDocument:
    """One film as a document; curves at :data:`POINTS` moments."""
    import numpy as np

    from curewatch.model.film.finish import finish

    curves = said.envelope
    at = np.linspace(0.0, float(curves.time[-1]), POINTS)

    def points(values: "FloatArray", decimals: int) -> list[float]:
        return [round(float(value), decimals) for value in np.interp(at, curves.time, values)]

    def curve(values: "Interval", decimals: int, offset: float = 0.0) -> CureCurveDocument:
        early, likely, late = (points(part - offset, decimals) for part in values)
        return CureCurveDocument(early=early, likely=likely, late=late)

    return CureDocument(
        do_not=do_not,
        resin=said.resin.name,
        title=said.resin.title,
        kind=code(said.resin.chemistry.name),
        peroxide_percent=dose.peroxide_percent,
        peroxide_assumed=dose.peroxide_assumed,
        note=said.resin.note,
        band="8 in 10 lots between early and late",
        milestones_s=CureMilestonesDocument(**{name: band(*found) for name, found in said.marks.items()}),
        recoat_window=_recoat_window(said, laminate),
        stall=_stall(said),
        final_conversion=round(float(said.film.conversion[-1]), 5),
        final_glass_transition_c=celsius(said.film.glass_transition[-1]),
        doubts=list(said.doubts),
        finish=_finish(finish(said.resin, said.film, slowed=said.slowed)),
        duration_s=float(said.film.time[-1]),
        time_s=[round(float(value), 1) for value in at],
        temperature_c=points(curves.temperature - 273.15, 3),
        conversion=curve(curves.conversion, 5),
        glass_transition_c=curve(curves.glass_transition, 2, 273.15),
        blush=blush,
        pot=pot,
        laminate=laminate,
    )


def _recoat_window(said: "FilmOutcome", laminate: CureLaminateDocument | None) -> CureRecoatWindowDocument:
    return CureRecoatWindowDocument(
        wet_on_wet_until_s=number(said.bond.wet_until),
        opens_s=number(said.bond.opens),
        closes_s=number(said.bond.closes),
        cause=said.bond.cause,
        afterwards=said.bond.afterwards,
        blush_may_close_it=bool(said.resin.blush.amine_factor),
        remark="for one film"
        if laminate is None
        else f"for {laminate.thickness_mm:g} mm on {laminate.substrate}",
    )


def _stall(said: "FilmOutcome") -> CureStallDocument | None:
    if said.stall is None:
        return None
    return CureStallDocument(
        at_s=round(said.stall.at, 1),
        conversion=round(said.stall.conversion, 4),
        glass_transition_c=celsius(said.stall.glass_transition),
        before=code(said.stall.before),
    )


def _finish(found: "Finish") -> CureFinishDocument:
    from curewatch.materials.maker_sheet import METHODS
    from curewatch.model.film.finish import MARGIN, NOT_STATED
    from curewatch.model.film.post_cure import CAUTION, OVENS, RAMP, SOFTENS, gentle_start

    return CureFinishDocument(
        glass_transition_c=celsius(found.glass_transition, 1),
        least_c=celsius(found.least, 1),
        reachable_c=celsius(found.reachable, 1),
        reachable_least_c=celsius(found.reachable_least, 1),
        wanted_c=None if found.wanted is None else celsius(found.wanted, 1),
        finished=found.finished,
        post_cures=[
            CurePostCureDocument(
                temperature_c=celsius(each.temperature, 1),
                duration_s=round(each.duration),
                steps=[
                    CureOvenStepDocument(
                        temperature_c=celsius(step.temperature, 1), duration_s=round(step.duration)
                    )
                    for step in each.steps
                ],
            )
            for each in found.post_cures
        ],
        hottest_post_cure_c=celsius(OVENS[-1], 1),
        start_no_warmer_c=celsius(gentle_start(found.least), 1),
        ramp_k_per_hour=round(RAMP * 3600.0, 1),
        softens_above_k=SOFTENS,
        method="calorimetry",
        dmta_reads_higher_k=METHODS["dmta"].higher,
        margin_k=MARGIN,
        service=[
            CureServiceDocument(
                title=each.service.name,
                temperature_c=celsius(each.service.temperature, 1),
                tag=code(each.service.origin.tag),
                source=each.service.origin.source,
                stands_now=each.now,
                stands_finished=each.finished,
                spare_k=round(each.spare, 1),
            )
            for each in found.stands
        ],
        not_known=NOT_STATED if found.wanted is None else "",
        caution=CAUTION,
    )


def blush_part(found: "Blush", bond: "RecoatWindow") -> CureBlushDocument:
    """Blush foreseen for a film in steady air, and what it does to the recoat window."""
    import numpy as np

    from curewatch.model.film.lots import EARLY

    closes = np.atleast_1d(bond.closes)
    early = float(np.quantile(np.nan_to_num(closes, nan=np.inf), EARLY, method="lower"))
    return CureBlushDocument(
        outcome=code(found.outcome),
        worst=code(found.worst),
        reason=found.reason,
        water_condenses=found.no_go,
        exposure_s=band(*found.band, decimals=0),
        recoat_before_s=round(early) if math.isfinite(early) else None,
        recoat_cause=bond.cause,
        recoat_afterwards=bond.afterwards,
    )


def pot_part(mass: float, shape: str, air: float, pots: Sequence["Pot"]) -> CurePotDocument:
    """A batch in its pot, by what a fast, a usual and a slow lot do. [kg], [K]"""
    from curewatch.advice.judge.cautions import Caution, brief
    from curewatch.units import gram_from_kilogram

    fast, likely, slow = pots
    caution = Caution.POT_HEAT.value if fast.overheats else ""
    return CurePotDocument(
        mass_g=round(gram_from_kilogram(mass), 2),
        shape=code(shape),
        air_temperature_c=celsius(air),
        pot_life_s=band(fast.pot_life, likely.pot_life, slow.pot_life, 2),
        working_life_s=number(likely.working_life, 2),
        peak_temperature_c=celsius(likely.peak_temperature),
        peak_s=number(likely.peak_time, 2),
        may_overheat=fast.overheats,
        caution=caution,
        caution_brief=brief(caution),
        biot=round(likely.biot, 3),
    )


def laminate_part(buildup: "Buildup", whole: "Laminate", at_once: "LayerCount") -> CureLaminateDocument:
    """A layer that warms itself, and how many films may go on in one go."""
    from curewatch.model.mass.buildup import ONE_FILM
    from curewatch.model.mass.laminate import HOT

    one_more, below = at_once.peak_of_one_more, buildup.substrate
    return CureLaminateDocument(
        thickness_mm=round(1000.0 * buildup.thickness, 3),
        substrate="" if below is None else below.name,
        peak_temperature_c=celsius(whole.peak_temperature),
        peak_s=number(whole.peak_time, 2),
        layer_mm=round(1000.0 * ONE_FILM, 3),
        layers_in_one_go=at_once.layers,
        limit_c=celsius(HOT),
        peak_of_one_more_c=celsius(one_more) if math.isfinite(one_more) else None,
    )
