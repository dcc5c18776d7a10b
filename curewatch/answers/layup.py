"""The document of `layup`: a hole, the layers that fill it, what they take, and when they are laid."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

from curewatch.answers.document import Shape, Utc, celsius, code, number, says, stamp
from curewatch.answers.parts import FaceBelowDocument, face_below_part
from curewatch.units import (
    gram_from_kilogram,
    millilitre_from_cubic_metre,
    millimetre_from_metre,
    minute_from_second,
    percent_from_fraction,
)

if TYPE_CHECKING:
    from curewatch.advice.plan.amounts import Repair
    from curewatch.advice.plan.layup import LayupPlan
    from curewatch.advice.plan.sessions import Schedule, Session

Side = Literal["outside", "inside"]
Bond = Literal["prepared-ground", "chemical", "mechanical"]
PARTS = ("hardener", "peroxide")  # what is added to a resin


class HoleDocument(Shape, frozen=True, kw_only=True):
    """The hole."""

    shape: Annotated[Literal["round", "oval", "rectangular", "strip"], says("Of its outline")]
    length_mm: Annotated[float, says("The longer way")]
    width_mm: Annotated[float, says("The other way")]


class LayerPieceDocument(Shape, frozen=True, kw_only=True):
    """One layer: a piece of cloth and its resin."""

    number: Annotated[int, says("Counted from the hole outwards")]
    side: Annotated[Side, says("From which it is laid")]
    length_mm: Annotated[float, says("Of the piece as cut")]
    width_mm: Annotated[float, says("Of the piece as cut")]
    area_m2: Annotated[float, says("As laid")]
    mixed_g: Annotated[float, says("Mixed resin it takes, with waste")]


class LayupClothDocument(Shape, frozen=True, kw_only=True):
    """The cloth."""

    title: Annotated[str, says("What it is")]
    areal_mass_g_per_m2: Annotated[float, says("Of the dry cloth")]
    area_m2: Annotated[float, says("To be cut, with waste")]
    mass_g: Annotated[float, says("The same by mass")]


class LayupRatioDocument(Shape, frozen=True, kw_only=True):
    """How it is mixed, by mass; what is added for 100 of resin."""

    text: Annotated[str, says("In words")]
    hardener_per_100: Annotated[float | None, says("Usual; null for a resin with a dose of peroxide")]
    peroxide_percent: Annotated[float | None, says("Dose; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    lowest_per_100: Annotated[float, says("Lowest allowed")]
    highest_per_100: Annotated[float, says("Highest allowed")]
    tag: Annotated[str, says("Kind of origin: datasheet, common-practice, assumed …")]
    source: Annotated[str, says("Origin")]


class LayupSessionDocument(Shape, frozen=True, kw_only=True):
    """One go: layers that are laid one after the other."""

    start: Annotated[Utc, says("Start (ISO 8601, UTC)")]
    end: Annotated[Utc, says("End (ISO 8601, UTC)")]
    layers: Annotated[list[int], says("Their numbers")]
    side: Annotated[Side, says("From which they are laid")]
    bond: Annotated[Bond, says("How it bonds to what is under it")]
    bond_text: Annotated[str, says("The same in words")]
    batches: Annotated[int | None, says("How many; null where none lasts until it is spread")]
    batch_mass_g: Annotated[float | None, says("Mass of each, but for a smaller last one")]
    last_batch_g: Annotated[float | None, says("Mass of a last one that is smaller; null: all are alike")]
    last_resin_g: Annotated[float | None, says("Resin of that last one")]
    resin_g: Annotated[float | None, says("Resin of each")]
    hardener_g: Annotated[float | None, says("Hardener of each; null where peroxide is used")]
    peroxide_g: Annotated[float | None, says("Peroxide of each; null where hardener is used")]
    scale_lowest_g: Annotated[float | None, says("Least that the scale may read with both in")]
    scale_highest_g: Annotated[float | None, says("Most that the scale may read with both in")]
    use_within_min: Annotated[float | None, says("To be spread within")]
    pot_life_min: Annotated[float | None, says("Until it kicks, left in its cup")]
    too_small_for_scale: Annotated[bool, says("The scale weighs such a batch too coarsely")]
    next_from: Annotated[Utc | None, says("Next layer from (ISO 8601, UTC)")]
    next_before: Annotated[Utc | None, says("Next layer before (ISO 8601, UTC)")]
    remark: Annotated[str, says("What must be said of that window, or empty")]
    leave: Annotated[str, says("How to leave it, where the next layer comes after that window; or empty")]
    probability: Annotated[float, says("That every check holds, 0 to 1")]


class LayupScheduleDocument(Shape, frozen=True, kw_only=True):
    """When what is laid."""

    layers_in_one_go: Annotated[int, says("More would get too hot")]
    peak_temperature_c: Annotated[float | None, says("That so many layers reach")]
    sessions: Annotated[list[LayupSessionDocument], says("One after the other")]
    left_over: Annotated[list[int], says("Layers that found no start")]
    basis: Annotated[str, says("What the coming hours rest on")]


class LayupDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch layup`."""

    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    cautions: Annotated[list[str], says("What to mind")]
    caution_brief: Annotated[str, says("The cautions of grinding and laying, in a few words")]
    below: Annotated[FaceBelowDocument, says("The face below")]
    resin: Annotated[str, says("Name of the resin system")]
    hole: Annotated[HoleDocument, says("The hole")]
    thickness_mm: Annotated[float, says("Of the laminate")]
    substrate: Annotated[str, says("What it lies on")]
    scarf_ratio: Annotated[float, says("Length of the scarf to its depth")]
    sides: Annotated[int, says("Worked from one or from both")]
    scarf_mm: Annotated[float, says("Length of the taper")]
    short_scarf: Annotated[
        str, says("What a scarf shorter than usual costs, and what is usual then; or empty")
    ]
    backing: Annotated[str, says("What must stand behind the hole before the first layer")]
    ground_area_m2: Annotated[float, says("Area to be ground")]
    layer_thickness_mm: Annotated[float, says("Of one cured layer")]
    layers: Annotated[list[LayerPieceDocument], says("From the smallest to the largest")]
    cloth: Annotated[LayupClothDocument, says("The cloth")]
    waste_percent: Annotated[float, says("Of cloth and resin, in the masses here")]
    mixed_g: Annotated[float, says("Mixed resin")]
    resin_g: Annotated[float, says("Resin")]
    hardener_g: Annotated[float | None, says("Hardener; null where peroxide is used")]
    peroxide_g: Annotated[float | None, says("Peroxide; null where hardener is used")]
    resin_ml: Annotated[float, says("Resin by volume")]
    hardener_ml: Annotated[float | None, says("Hardener by volume; null where peroxide is used")]
    peroxide_ml: Annotated[float | None, says("Peroxide by volume; null where hardener is used")]
    ratio: Annotated[LayupRatioDocument, says("How it is mixed")]
    scale_step_g: Annotated[float, says("Of the scale")]
    smallest_batch_g: Annotated[float, says("That this scale weighs well enough")]
    schedule: Annotated[
        LayupScheduleDocument | None,
        says("When what is laid; null where nothing is known of the coming hours"),
    ]


def layup_document(plan: "LayupPlan", now: float, scale_step: float) -> LayupDocument:
    """The plan as a document; the step of the scale in kg."""
    from curewatch.advice.plan.mixing import smallest_batch

    made, taper, repair = plan.amounts, plan.amounts.taper, plan.repair
    minded = _cautions(plan)
    return LayupDocument(
        at=stamp(now) or "",
        cautions=minded,
        caution_brief=_brief(minded),
        below=face_below_part(plan.below),
        resin=plan.resin.name,
        hole=HoleDocument(
            shape=code(taper.outline.shape),
            length_mm=_mm(taper.outline.length),
            width_mm=_mm(taper.outline.width),
        ),
        thickness_mm=_mm(taper.thickness, 3),
        substrate=repair.substrate,
        scarf_ratio=taper.ratio,
        sides=taper.sides,
        scarf_mm=_mm(taper.scarf),
        short_scarf=_short(repair),
        backing=_backing(repair),
        ground_area_m2=round(taper.ground_area, 5),
        layer_thickness_mm=_mm(made.layer_thickness, 3),
        layers=_layers(plan),
        cloth=LayupClothDocument(
            title=repair.cloth.title,
            areal_mass_g_per_m2=round(gram_from_kilogram(repair.cloth.areal_mass), 1),
            area_m2=round(made.cloth_area, 4),
            mass_g=_grams(made.cloth_mass),
        ),
        waste_percent=round(percent_from_fraction(repair.waste), 1),
        mixed_g=_grams(made.mixed),
        resin_g=_grams(made.resin),
        **_added(plan, "g", _grams(made.added)),
        resin_ml=round(millilitre_from_cubic_metre(made.resin_volume), 1),
        **_added(plan, "ml", round(millilitre_from_cubic_metre(made.added_volume), 1)),
        ratio=_ratio(plan),
        scale_step_g=round(gram_from_kilogram(scale_step), 3),
        smallest_batch_g=_grams(smallest_batch(plan.proportion, scale_step)),
        schedule=None if plan.schedule is None else _schedule(plan, plan.schedule, scale_step),
    )


def _cautions(plan: "LayupPlan") -> list[str]:
    """The cautions of the work; how hot a pot gets is judged by the largest that is mixed."""
    from curewatch.advice.judge import batches, cautions

    sessions = () if plan.schedule is None else plan.schedule.sessions
    masses = (one.batches.mass for one in sessions if one.batches is not None)
    largest = max(masses, default=min(plan.amounts.mixed, batches.LARGEST))
    hot = cautions.pot_overheats(plan.resin, largest)
    return list(cautions.for_layup(plan.resin.chemistry, pot_overheats=hot, abrading=True))


def _brief(minded: list[str]) -> str:
    """Of grinding and laying, what hurts most; the rest stands with the reasons."""
    from curewatch.advice.judge.cautions import Caution, brief

    aside = {Caution.CARBON.value, Caution.ELECTRIC.value, Caution.BLUSH.value}
    return brief(" ".join(caution for caution in minded if caution not in aside))


def _short(repair: "Repair") -> str:
    from curewatch.advice.choose.need import SURVEYOR_BELOW, room_for_taper, short_taper, usual_then
    from curewatch.wording import plain_wording

    chosen = repair.ratio * repair.thickness / repair.sides
    space = repair.room or ((chosen,) if repair.ratio < SURVEYOR_BELOW else ())
    room = room_for_taper(repair.thickness, space, both_sides=repair.sides == 2)
    return "" if room.fits else f"{plain_wording().say(short_taper(room))}. {usual_then(room)}"


def _backing(repair: "Repair") -> str:
    """The hole goes through: something must hold the first layer in its shape."""
    held = "Hold a backing or a waxed mould behind the hole before the first layer"
    return held + ("; take it off before the other side." if repair.sides == 2 else ".")


def _layers(plan: "LayupPlan") -> list[LayerPieceDocument]:
    return [
        LayerPieceDocument(
            number=patch.number,
            side=code(patch.side),
            length_mm=_mm(patch.length),
            width_mm=_mm(patch.width),
            area_m2=round(patch.area, 5),
            mixed_g=_grams(work.resin),
        )
        for patch, work in zip(plan.amounts.layers, plan.works, strict=True)
    ]


def _ratio(plan: "LayupPlan") -> LayupRatioDocument:
    ratio = plan.proportion
    usual, dosed = round(percent_from_fraction(ratio.usual), 2), ratio.added == "peroxide"
    return LayupRatioDocument(
        text=ratio.said(ratio.usual),
        hardener_per_100=None if dosed else usual,
        peroxide_percent=usual if dosed else None,
        peroxide_assumed=ratio.assumed,
        lowest_per_100=round(percent_from_fraction(ratio.lowest), 2),
        highest_per_100=round(percent_from_fraction(ratio.highest), 2),
        tag=code(ratio.tag),
        source=ratio.source,
    )


def _schedule(plan: "LayupPlan", made: "Schedule", scale_step: float) -> LayupScheduleDocument:
    peak = plan.peak_temperature
    return LayupScheduleDocument(
        layers_in_one_go=made.layers_in_one_go,
        peak_temperature_c=None if peak is None else celsius(peak),
        sessions=[_session(plan, session, scale_step) for session in made.sessions],
        left_over=[work.number for work in made.left_over],
        basis=plan.basis,
    )


def _counted(layers: int) -> str:
    return f"counts the own heat of its {layers} layers" if layers > 1 else ""


def _session(plan: "LayupPlan", session: "Session", scale_step: float) -> LayupSessionDocument:
    from curewatch.advice.plan.sessions import CHEMICAL, FIRST, MECHANICAL

    bonds: dict[str, Bond] = {FIRST: "prepared-ground", CHEMICAL: "chemical", MECHANICAL: "mechanical"}
    batches, cup, last = session.batches, plan.cup(session), plan.last_cup(session)
    return LayupSessionDocument(
        start=stamp(session.start) or "",
        end=stamp(session.end) or "",
        layers=[work.number for work in session.layers],
        side=code(session.layers[0].side),
        bond=bonds[session.bond],
        bond_text=session.bond,
        batches=None if batches is None else batches.count,
        batch_mass_g=None if batches is None else _grams(batches.mass),
        last_batch_g=None if last is None else _grams(last.mass),
        last_resin_g=None if last is None else _grams(last.resin),
        resin_g=None if cup is None else _grams(cup.resin),
        **_added(plan, "g", None if cup is None else _grams(cup.added)),
        scale_lowest_g=None if cup is None else _grams(cup.scale_lowest),
        scale_highest_g=None if cup is None else _grams(cup.scale_highest),
        use_within_min=None if batches is None else _minutes(batches.share * batches.pot_life),
        pot_life_min=None if batches is None else _minutes(batches.pot_life),
        too_small_for_scale=plan.too_small_for(session, scale_step),
        next_from=stamp(session.next_from),
        next_before=stamp(session.next_before),
        remark=_counted(len(session.layers)),
        leave=session.leave,
        probability=number(session.probability, 3) or 0.0,
    )


def _added(plan: "LayupPlan", unit: str, amount: float | None) -> dict[str, Any]:
    """What is added to the resin under its own name, none under the other."""
    return {f"{what}_{unit}": amount if what == plan.proportion.added else None for what in PARTS}


def _mm(metres: float, decimals: int = 1) -> float:
    return round(millimetre_from_metre(metres), decimals)


def _grams(kilograms: float) -> float:
    return round(gram_from_kilogram(kilograms), 2)


def _minutes(seconds: float) -> float:
    return round(minute_from_second(seconds), 2)
