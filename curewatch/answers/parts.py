"""Parts that several documents share."""

from typing import Annotated, Literal

from curewatch.answers.document import Shape, Utc, says


class TimelineDocument(Shape, frozen=True, kw_only=True):
    """One moment of a layer."""

    name: Annotated[
        str,
        says(
            "Stable name: working-time, laminate-from, gel, laminate-before, tack-free, firm, ready-to-sand"
        ),
    ]
    title: Annotated[str, says("In words")]
    early: Annotated[Utc | None, says("Early edge of the band (ISO 8601, UTC)")]
    likely: Annotated[Utc | None, says("The middle (ISO 8601, UTC)")]
    late: Annotated[Utc | None, says("Late edge: four in five lie between early and late (ISO 8601, UTC)")]
    share: Annotated[float, says("Share of the paths on which it comes at all, 0 to 1")]
    note: Annotated[str, says("A remark, or empty")]


class RunningDocument(Shape, frozen=True, kw_only=True):
    """A running layer."""

    layer: Annotated[str, says("Its name: L1")]
    started: Annotated[Utc, says("When it was mixed (ISO 8601, UTC)")]
    resin: Annotated[str, says("System")]
    batch_mass_g: Annotated[float | None, says("Mass of the batch")]
    peroxide_percent: Annotated[float | None, says("Of resin mass")]
    peroxide_assumed: Annotated[bool, says("Nobody gave the dose: it is the usual one")]
    lot: Annotated[str | None, says("Lot of the resin")]
    job: Annotated[str | None, says("Job")]
    note: Annotated[str, says("Words kept with it")]
    given_afterwards: Annotated[bool, says("The time was told later")]
    stage: Annotated[str, says("Where it stands: open, thickening, gelled …")]
    timeline: Annotated[list[TimelineDocument], says("When what happens")]


class AlertDocument(Shape, frozen=True, kw_only=True):
    """One of the ``alert`` of mqtt alerts."""

    alert: Annotated[str, says("Kind")]
    subject: Annotated[str, says("The layer or sensor, or empty")]
    since: Annotated[Utc, says("Since (ISO 8601, UTC)")]
    text: Annotated[str, says("What is the matter, in words: degC, kelvin, grams, 24 hours at the shed")]
    advised: Annotated[str, says("What to do")]
    words: Annotated[
        dict[str, str],
        says("The same texts with their numbers left open: {name:quantity}, or {name} for text"),
    ]
    numbers: Annotated[
        dict[str, float | str],
        says(
            "What stands in the open places: kelvin, kilograms, fractions, seconds, UTC seconds; text as it is"
        ),
    ]
    due: Annotated[Utc | None, says("When it must be done (ISO 8601, UTC)")]
    acknowledged: Annotated[Utc | None, says("When somebody saw it (ISO 8601, UTC)")]


class CorrectionDocument(Shape, frozen=True, kw_only=True):
    """Applied to what arrives."""

    offset_percent: Annotated[float, says("Added")]
    gain: Annotated[float, says("Times")]


class CheckDocument(Shape, frozen=True, kw_only=True):
    """One check."""

    name: Annotated[str, says("Stable name: condensation-now, humidity …")]
    title: Annotated[str, says("In words")]
    status: Annotated[Literal["holds", "care", "fails", "unknown"], says("How it stands")]
    unit: Annotated[str, says("Of value, limit, spare and error: min, K, °C, % …")]
    value: Annotated[float | None, says("What was found or is foreseen, the worst of it")]
    limit: Annotated[float | None, says("What is wanted")]
    sense: Annotated[Literal["at least", "at most"], says("at least or at most")]
    spare: Annotated[float | None, says("What is left to the limit after the sensors' error")]
    error: Annotated[float, says("error_multiple standard deviations of the sensors")]
    error_multiple: Annotated[float, says("How many standard deviations are taken off")]
    probability: Annotated[
        float | None, says("Share of the paths of the coming hours on which it holds, 0 to 1")
    ]
    at: Annotated[Utc | None, says("When the worst value occurs (ISO 8601, UTC)")]
    sensor: Annotated[str, says("Which sensors said it")]
    age_s: Annotated[float | None, says("Age of the oldest reading in it, s")]
    limit_tag: Annotated[str, says("Kind of the limit's origin: published, common practice, assumed, own …")]
    limit_source: Annotated[str, says("Where the limit comes from")]
    limit_replaces: Annotated[str, says("The limit that the user's own replaced, or empty")]
    note: Annotated[str, says("A remark, or empty")]


class LeverDocument(Shape, frozen=True, kw_only=True):
    """A change that makes it go."""

    kind: Annotated[str, says("start, warm, dry, surface, resin, batch or tray")]
    start: Annotated[Utc | None, says("When to begin the work with it (ISO 8601, UTC)")]
    begin: Annotated[Utc | None, says("When to switch heating or drying on (ISO 8601, UTC)")]
    until: Annotated[Utc | None, says("When it may be switched off (ISO 8601, UTC)")]
    target: Annotated[float | None, says("What to bring the shed, the surface or the batch to")]
    target_unit: Annotated[str | None, says("Unit of target")]
    power_w: Annotated[int | None, says("Power needed at most, W")]
    power_w_per_m2: Annotated[int | None, says("Power of a heated blanket needed at most, W/m2 of surface")]
    energy_kwh: Annotated[float | None, says("Energy on the middle path, kWh")]
    water_kg: Annotated[float | None, says("Water taken out, kg")]
    resin: Annotated[str, says("Another system, or empty")]
    probability: Annotated[float | None, says("Share of the paths on which all checks then hold")]
    warning: Annotated[str, says("The cautions that stand before this step, or empty")]
    besides: Annotated["LeverDocument | None", says("The other half of a combination")]
