"""The document of `cure`."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, says
from curewatch.answers.parts import WorkingTimeDocument


class CureMilestonesSDocument(Shape, frozen=True, kw_only=True):
    """Marks."""

    working_time: Annotated[WorkingTimeDocument, says("Working time ends")]
    recoat_from: Annotated[WorkingTimeDocument, says("Next layer may go on")]
    gel: Annotated[WorkingTimeDocument, says("Gel")]
    tack_free: Annotated[WorkingTimeDocument, says("Tack-free")]
    firm: Annotated[WorkingTimeDocument, says("Firm: may be handled")]
    ready_to_sand: Annotated[WorkingTimeDocument, says("Ready to sand: firm, and the stated wait is over")]


class CureBondWindowSDocument(Shape, frozen=True, kw_only=True):
    """Of the next layer."""

    opens: Annotated[float | None, says("Opens")]
    closes: Annotated[float | None, says("Closes")]
    cause: Annotated[str, says("What closes it")]


class CureStallDocument(Shape, frozen=True, kw_only=True):
    """Where it turned to glass before it was done."""

    at_s: Annotated[float, says("When")]
    conversion: Annotated[float, says("Conversion there")]
    glass_transition_c: Annotated[float, says("Glass transition there")]
    before: Annotated[str, says("What it fell short of")]


class CurePostCureDocument(Shape, frozen=True, kw_only=True):
    """One of the ``post_cure`` of cure."""

    temperature_c: Annotated[float, says("How hot")]
    duration_s: Annotated[float, says("How long")]


class CureServiceDocument(Shape, frozen=True, kw_only=True):
    """One of the ``service`` of cure."""

    name: Annotated[str, says("Service")]
    temperature_c: Annotated[float, says("Its temperature")]
    tag: Annotated[str, says("Kind of origin")]
    source: Annotated[str, says("Origin")]
    stands_now: Annotated[bool, says("As it is")]
    stands_finished: Annotated[bool, says("When finished")]
    spare_k: Annotated[float, says("Left over now")]


class CureFinishDocument(Shape, frozen=True, kw_only=True):
    """What the shed reaches and what a post-cure brings."""

    glass_transition_c: Annotated[float, says("Now")]
    least_c: Annotated[float, says("Now, if it stalls early: services are judged by it")]
    reachable_c: Annotated[float, says("In two more weeks as it is")]
    reachable_least_c: Annotated[float, says("In two more weeks, if it stalls early")]
    wanted_c: Annotated[
        float | None, says("When finished; null where no maker's sheet states a glass transition")
    ]
    finished: Annotated[bool | None, says("Whether it is; null where that is not known")]
    post_cures: Annotated[list[CurePostCureDocument], says("Any one of them finishes it")]
    margin_k: Annotated[float, says("Wanted between service and glass transition")]
    service: Annotated[list[CureServiceDocument], says("What the part may stand")]
    not_known: Annotated[str, says("Why services and post-cures are not judged; empty where they are")]
    caution: Annotated[str, says("Caution")]


class CureConversionDocument(Shape, frozen=True, kw_only=True):
    """Conversion, 0 to 1."""

    early: Annotated[list[float], says("Lower edge")]
    likely: Annotated[list[float], says("The usual lot")]
    late: Annotated[list[float], says("Upper edge")]


class CureGlassTransitionCDocument(Shape, frozen=True, kw_only=True):
    """Glass transition, °C."""

    early: Annotated[list[float], says("Lower edge")]
    likely: Annotated[list[float], says("The usual lot")]
    late: Annotated[list[float], says("Upper edge")]


class CureBlushDocument(Shape, frozen=True, kw_only=True):
    """With --humidity."""

    outcome: Annotated[Literal["none", "peel ply", "wash and abrade"], says("What it takes")]
    worst: Annotated[str, says("In the late part of the band")]
    why: Annotated[str, says("Why")]
    condensed_share: Annotated[float, says("Share of the time at which water condensed")]
    exposure_s: Annotated[WorkingTimeDocument, says("Exposure")]
    bond_closes_early_s: Annotated[float | None, says("When blush closes the recoat window, early edge")]
    bond_cause: Annotated[str, says("What closes it")]


class CurePotDocument(Shape, frozen=True, kw_only=True):
    """With --mass."""

    mass_g: Annotated[float, says("Mass")]
    shape: Annotated[str, says("cup, tray or roller tray")]
    air_temperature_c: Annotated[float, says("Air")]
    pot_life_s: Annotated[WorkingTimeDocument, says("Until it kicks")]
    working_life_s: Annotated[float | None, says("Until it is too thick to spread")]
    peak_temperature_c: Annotated[float, says("Hottest")]
    peak_s: Annotated[float | None, says("When")]
    may_overheat: Annotated[bool, says("A fast lot may get hot enough to smoke")]
    biot: Annotated[float, says("How unevenly it heats")]


class CureLaminateDocument(Shape, frozen=True, kw_only=True):
    """With --thickness."""

    thickness_mm: Annotated[float, says("Thickness")]
    substrate: Annotated[str, says("What it lies on")]
    peak_temperature_c: Annotated[float, says("Hottest")]
    peak_s: Annotated[float | None, says("When")]
    gel_s: Annotated[float | None, says("Gel")]
    layer_mm: Annotated[float, says("One layer")]
    layers_in_one_go: Annotated[int, says("At most")]
    limit_c: Annotated[float, says("What it may reach")]
    peak_of_one_more_c: Annotated[float | None, says("What one more would reach")]


class CureDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch cure`; times in seconds from mixing, null where not reached."""

    do_not: Annotated[
        str, says("Why it must not be laid here, whatever the times beside; empty if nothing forbids it")
    ]
    resin: Annotated[str, says("System")]
    title: Annotated[str, says("Title")]
    kind: Annotated[str, says("epoxy, polyester or vinyl ester")]
    peroxide_percent: Annotated[float | None, says("Dose, per cent by mass of resin; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    note: Annotated[str, says("A remark")]
    band: Annotated[str, says("What the bands hold")]
    milestones_s: Annotated[CureMilestonesSDocument, says("Marks")]
    recoat_window_s: Annotated[CureBondWindowSDocument, says("Of the next layer")]
    stall: Annotated[CureStallDocument | None, says("Where it turned to glass before it was done")]
    final_conversion: Annotated[float, says("At the end, 0 to 1")]
    final_glass_transition_c: Annotated[float, says("At the end")]
    doubts: Annotated[list[str], says("Why it should be taken with care")]
    finish: Annotated[CureFinishDocument, says("What the shed reaches and what a post-cure brings")]
    time_s: Annotated[list[float], says("Of the curves")]
    temperature_c: Annotated[list[float], says("Of the film")]
    conversion: Annotated[CureConversionDocument, says("Conversion, 0 to 1")]
    glass_transition_c: Annotated[CureGlassTransitionCDocument, says("Glass transition, °C")]
    blush: Annotated[CureBlushDocument | None, says("With --humidity")]
    pot: Annotated[CurePotDocument | None, says("With --mass")]
    laminate: Annotated[CureLaminateDocument | None, says("With --thickness")]
