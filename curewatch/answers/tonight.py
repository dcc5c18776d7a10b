"""The document of `tonight`: a verdict, the checks it rests on, what follows, and what would turn it."""

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import (
    SentenceDocument,
    Shape,
    Utc,
    code,
    number,
    says,
    sentence,
    sentence_or_none,
    stamp,
)
from curewatch.answers.parts import (
    MomentDocument,
    ScoreDocument,
    layer_mm,
    layer_on,
    moment_part,
    score_parts,
)
from curewatch.units import celsius_from_kelvin, gram_from_kilogram, minute_from_second, percent_from_fraction

if TYPE_CHECKING:
    from curewatch.advice.judge.answer import Advice, Check, Lever
    from curewatch.model.fit.score import Deviation
    from curewatch.phrases import Said
    from curewatch.wording import Wording

KILOWATT_HOUR = 3.6e6  # J
Unit = Literal["degC", "K", "percent", "min", "1"]


class CheckDocument(Shape, frozen=True, kw_only=True):
    """One check."""

    name: Annotated[str, says("Stable: condensation-now, humidity …")]
    title: Annotated[str, says("In words")]
    status: Annotated[Literal["holds", "care", "fails", "unknown"], says("How it stands")]
    unit: Annotated[Unit, says("Of value and limit")]
    value: Annotated[float | None, says("What was found or is foreseen, the worst of it")]
    limit: Annotated[float | None, says("What is wanted; null where it is not measured against a number")]
    sense: Annotated[Literal["at-least", "at-most"] | None, says("On which side of the limit it holds")]
    difference_unit: Annotated[Unit, says("Of spare and error")]
    spare: Annotated[float | None, says("What is left to the limit after the sensors' error; negative fails")]
    error: Annotated[float | None, says("Allowed for the sensors' error, where a reading alone decides")]
    probability: Annotated[float | None, says("That it holds in the coming hours, 0 to 1")]
    at: Annotated[Utc | None, says("When the worst value occurs (ISO 8601, UTC)")]
    sensor: Annotated[str, says("Which sensors said it, or empty")]
    age_s: Annotated[float | None, says("Age of the oldest reading in it")]
    limit_tag: Annotated[
        str | None, says("Kind of the limit's origin: published, common-practice, assumed, users-own …")
    ]
    limit_source: Annotated[str | None, says("Where the limit comes from")]
    limit_replaces: Annotated[str | None, says("The limit that the user's own replaced, or empty")]
    reason: Annotated[SentenceDocument | None, says("Why it fails, is unknown or needs care")]


class LeverDocument(Shape, frozen=True, kw_only=True):
    """A change that makes it go; what its kind does not use is null."""

    kind: Annotated[
        Literal["start", "warm", "dry", "surface", "resin", "batch", "tray", "thinner"],
        says("What to change"),
    ]
    start: Annotated[Utc | None, says("When to begin the work with it (ISO 8601, UTC)")]
    switch_on: Annotated[Utc | None, says("When to switch heating or drying on (ISO 8601, UTC)")]
    switch_off: Annotated[Utc | None, says("When it may be switched off (ISO 8601, UTC)")]
    temperature_c: Annotated[float | None, says("To bring the air to")]
    humidity_percent: Annotated[float | None, says("To bring the air to")]
    surface_rise_k: Annotated[float | None, says("To warm the surface by")]
    batch_mass_g: Annotated[float | None, says("To mix at a time, or to pour into a tray")]
    layers: Annotated[int | None, says("To lay at once")]
    power_w: Annotated[int | None, says("Power needed at most")]
    power_w_per_m2: Annotated[int | None, says("Power of a heated blanket needed at most, by its area")]
    energy_kwh: Annotated[float | None, says("Energy it likely takes")]
    water_kg: Annotated[float | None, says("Water it likely takes out")]
    resin: Annotated[str, says("Another resin system, or empty")]
    probability: Annotated[float | None, says("That every check then holds, 0 to 1")]
    step: Annotated[SentenceDocument, says("What to do, until when, and the chance that it then holds")]
    warning: Annotated[SentenceDocument | None, says("The cautions that stand before this step")]
    besides: Annotated["LeverDocument | None", says("The other half of a combination")]


class TonightDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch tonight`; the same document is published on MQTT as PREFIX/v1/advice."""

    verdict: Annotated[Literal["go", "no-go", "unknown"], says("The answer; unknown is never go")]
    headline: Annotated[SentenceDocument, says("The one reason of the answer")]
    step_caution: Annotated[
        SentenceDocument | None, says("The cautions of what to do now, in a few words; said before it")
    ]
    do_now: Annotated[
        list[SentenceDocument], says("What to do now; for a no-go the ways that turn it, one is enough")
    ]
    watch: Annotated[SentenceDocument | None, says("What to watch: the weakest of what holds")]
    stock_short: Annotated[
        SentenceDocument | None, says("What the tins lack for this batch; null: enough, or not counted")
    ]
    deciding: Annotated[str | None, says("Name of the check that decided; null for a go")]
    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    start: Annotated[Utc, says("The start that was asked for (ISO 8601, UTC)")]
    resin: Annotated[str, says("Name of the resin system")]
    resin_title: Annotated[str, says("Its title")]
    peroxide_percent: Annotated[float | None, says("Dose, per cent by mass of resin; null for an epoxy")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    probability: Annotated[float | None, says("That every check holds until it sets, 0 to 1")]
    needed_probability: Annotated[float | None, says("From which it is a go, 0 to 1")]
    checks: Annotated[list[CheckDocument], says("Every check")]
    timeline: Annotated[list[MomentDocument], says("When what happens")]
    blush: Annotated[
        Literal["none", "peel-ply", "wash-and-abrade", "unknown"], says("Amine blush: what it will take")
    ]
    blush_reason: Annotated[SentenceDocument | None, says("Why")]
    remedies: Annotated[list[SentenceDocument], says("What to do so that unknown becomes known")]
    levers: Annotated[
        list[LeverDocument], says("What turns the answer: the smallest changes, the least effort first")
    ]
    needed_besides: Annotated[
        list[SentenceDocument], says("What is needed whatever turns the answer, such as peel ply")
    ]
    cautions: Annotated[list[SentenceDocument], says("What to mind")]
    basis: Annotated[str, says("What the coming hours rest on")]
    layer_mm: Annotated[float | None, says("Thickness of the layer that the times are for")]
    layer_on: Annotated[str, says("What that layer lies on, or empty")]
    score: Annotated[list[ScoreDocument], says("How often the ranges told of this resin came true here")]


def tonight_document(
    advice: "Advice",
    words: "Wording",
    pulls: "Iterable[Deviation]" = (),
    stock_short: "Said" = "",
) -> TonightDocument:
    """The advice as a document; its texts by ``words``."""
    from curewatch.advice.judge.verdict import deciding
    from curewatch.advice.remedy import steps

    decided = deciding(advice.checks)
    return TonightDocument(
        verdict=advice.verdict.value,
        headline=sentence(advice.headline, words, advice.at),
        step_caution=sentence_or_none(steps.caution(advice), words, advice.at),
        do_now=[sentence(each, words, advice.at) for each in steps.do_now(advice)],
        watch=sentence_or_none(steps.watch(advice), words, advice.at),
        stock_short=sentence_or_none(stock_short, words, advice.at),
        deciding=None if decided is None else decided.name,
        at=stamp(advice.at) or "",
        start=stamp(advice.start) or "",
        resin=advice.resin,
        resin_title=advice.resin_title,
        peroxide_percent=advice.peroxide_percent,
        peroxide_assumed=advice.peroxide_assumed,
        probability=number(advice.probability, 3),
        needed_probability=number(advice.wanted, 3),
        checks=[_check(check, words, advice.at) for check in advice.checks],
        timeline=[moment_part(moment) for moment in advice.timeline],
        blush=code(advice.blush),
        blush_reason=sentence_or_none(advice.blush_reason, words, advice.at),
        remedies=[sentence(remedy, words, advice.at) for remedy in advice.remedies],
        levers=[_lever(lever, words, advice.start) for lever in advice.levers],
        needed_besides=[sentence(needed, words, advice.at) for needed in advice.needed_besides],
        cautions=[sentence(caution, words, advice.at) for caution in advice.cautions],
        basis=advice.basis,
        layer_mm=layer_mm(advice.buildup),
        layer_on=layer_on(advice.buildup),
        score=score_parts(pulls),
    )


BORDER: dict[str, tuple[Unit, Callable[[float], float], int]] = {  # quantity -> unit, conversion, decimals
    "temperature": ("degC", celsius_from_kelvin, 2),
    "difference": ("K", float, 2),
    "fraction": ("percent", percent_from_fraction, 1),
    "duration": ("min", minute_from_second, 2),
    "number": ("1", float, 3),
}
SPAN = BORDER | {"temperature": ("K", float, 2)}  # differences of a quantity: spare, error


def at_border(quantity: str, value: float | None, *, span: bool = False) -> float | None:
    """A value in the unit of its document; what is not known or not finite is ``None``."""
    _, convert, decimals = (SPAN if span else BORDER)[quantity]
    return None if value is None else number(convert(value), decimals)


def _check(check: "Check", words: "Wording", now: float) -> CheckDocument:
    limit, quantity = check.limit, check.quantity
    return CheckDocument(
        name=check.name,
        title=check.title,
        status=check.status.value,
        unit=BORDER[quantity][0],
        value=at_border(quantity, check.value),
        limit=None if limit is None else at_border(limit.quantity, limit.value),
        sense=None if limit is None else code(check.sense),
        difference_unit=SPAN[quantity][0],
        spare=at_border(quantity, check.spare, span=True),
        error=at_border(quantity, check.error, span=True),
        probability=number(check.probability, 3),
        at=stamp(check.at),
        sensor=check.sensor,
        age_s=number(check.age),
        limit_tag=None if limit is None else code(limit.tag),
        limit_source=None if limit is None else limit.source,
        limit_replaces=None if limit is None else limit.replaces,
        reason=sentence_or_none(check.reason, words, now),
    )


def _lever(lever: "Lever", words: "Wording", start: float) -> LeverDocument:
    from curewatch.advice.remedy import steps

    target, kind = lever.target, lever.kind
    mass = target if kind in {"batch", "tray"} else None
    return LeverDocument(
        kind=code(kind),
        start=stamp(lever.start),
        switch_on=stamp(lever.switch_on),
        switch_off=stamp(lever.switch_off),
        temperature_c=at_border("temperature", target) if kind == "warm" else None,
        humidity_percent=at_border("fraction", target) if kind == "dry" else None,
        surface_rise_k=number(target, 2) if kind == "surface" else None,
        batch_mass_g=None if mass is None else number(gram_from_kilogram(mass)),
        layers=round(target) if kind == "thinner" and target is not None else None,
        power_w=None if lever.power is None else round(lever.power),
        power_w_per_m2=None if lever.area_power is None else round(lever.area_power),
        energy_kwh=None if lever.energy is None else number(lever.energy / KILOWATT_HOUR),
        water_kg=number(lever.water, 2),
        resin=lever.resin,
        probability=number(lever.probability, 3),
        step=sentence(steps.step(lever, start), words, start),
        warning=sentence_or_none(lever.warning, words),
        besides=None if lever.besides is None else _lever(lever.besides, words, start),
    )
