"""The document of `layup`."""

from typing import Annotated

from curewatch.answers.document import Shape, Utc, says


class LayupLayerDocument(Shape, frozen=True, kw_only=True):
    """One of the ``layer`` of layup."""

    number: Annotated[int, says("Counted from the inside")]
    side: Annotated[str, says("outside or inside")]
    length_mm: Annotated[float, says("Length")]
    width_mm: Annotated[float, says("Width")]
    area_m2: Annotated[float, says("Area")]
    mixed_g: Annotated[float, says("Mixed resin it takes")]


class LayupRatioDocument(Shape, frozen=True, kw_only=True):
    """Parts for 100 of resin by mass."""

    hardener_per_100: Annotated[float | None, says("Usual; null for a resin with a dose of peroxide")]
    peroxide_percent: Annotated[float | None, says("Dose; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    lowest: Annotated[float, says("Lowest allowed")]
    highest: Annotated[float, says("Highest allowed")]


class LayupSessionDocument(Shape, frozen=True, kw_only=True):
    """One of the ``session`` of layup."""

    begin: Annotated[Utc | None, says("Begin (ISO 8601, UTC)")]
    end: Annotated[Utc | None, says("End (ISO 8601, UTC)")]
    layers: Annotated[list[int], says("Their numbers")]
    side: Annotated[str, says("Side")]
    bond: Annotated[str, says("To what it bonds, and how")]
    batches: Annotated[int | None, says("How many")]
    batch_mass_g: Annotated[float | None, says("Mass of each")]
    resin_g: Annotated[float | None, says("Resin of each")]
    hardener_g: Annotated[float | None, says("Hardener of each; null where peroxide is used")]
    peroxide_g: Annotated[float | None, says("Peroxide of each; null where hardener is used")]
    use_within_min: Annotated[float | None, says("To be spread within")]
    next_from: Annotated[Utc | None, says("Next layer from (ISO 8601, UTC)")]
    next_before: Annotated[Utc | None, says("Next layer before (ISO 8601, UTC)")]
    probability: Annotated[float, says("Share of the paths on which all checks hold")]


class LayupScheduleDocument(Shape, frozen=True, kw_only=True):
    """When what is laid; null where nothing is known of the coming hours."""

    layers_in_one_go: Annotated[int, says("More would get too hot")]
    sessions: Annotated[list[LayupSessionDocument], says("One after the other")]
    left_over: Annotated[list[int], says("Layers that found no place in the coming 48 hours")]
    basis: Annotated[str, says("What the coming hours rest on")]


class LayupDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch layup`."""

    resin: Annotated[str, says("Name of the resin system")]
    scarf_mm: Annotated[float, says("Length of the taper")]
    ground_area_m2: Annotated[float, says("Area to be ground")]
    layer_thickness_mm: Annotated[float, says("Of one cured layer")]
    layers: Annotated[list[LayupLayerDocument], says("From the smallest to the largest")]
    cloth_m2: Annotated[float, says("Cloth with waste")]
    cloth_g: Annotated[float, says("The same by mass")]
    mixed_g: Annotated[float, says("Mixed resin with waste")]
    resin_g: Annotated[float, says("Resin")]
    hardener_g: Annotated[float | None, says("Hardener; null where peroxide is used")]
    peroxide_g: Annotated[float | None, says("Peroxide; null where hardener is used")]
    resin_ml: Annotated[float, says("Resin by volume")]
    hardener_ml: Annotated[float | None, says("Hardener by volume; null where peroxide is used")]
    peroxide_ml: Annotated[float | None, says("Peroxide by volume; null where hardener is used")]
    ratio: Annotated[LayupRatioDocument, says("Parts for 100 of resin by mass")]
    schedule: Annotated[
        LayupScheduleDocument | None,
        says("When what is laid; null where nothing is known of the coming hours"),
    ]
