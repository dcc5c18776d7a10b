"""Parts that several documents share."""

from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, Utc, says, stamp

if TYPE_CHECKING:
    from curewatch.advice.judge.answer import Moment


class MomentDocument(Shape, frozen=True, kw_only=True):
    """One moment of a layer."""

    name: Annotated[
        str,
        says(
            "Stable: use-up, kicks, working-time, gel, laminate-from, laminate-before, tack-free, firm, ready-to-sand"
        ),
    ]
    title: Annotated[str, says("In words")]
    early: Annotated[Utc | None, says("Early edge of the band (ISO 8601, UTC)")]
    likely: Annotated[Utc | None, says("The middle (ISO 8601, UTC)")]
    late: Annotated[Utc | None, says("Late edge: 8 in 10 lie between early and late (ISO 8601, UTC)")]
    probability: Annotated[float, says("That it comes at all in the coming hours, 0 to 1")]
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
    timeline: Annotated[list[MomentDocument], says("When what happens")]


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
    acknowledged: Annotated[Utc | None, says("When it was acknowledged (ISO 8601, UTC)")]


def moment_part(moment: "Moment") -> MomentDocument:
    """A moment of a layer as a part of a document."""
    return MomentDocument(
        name=moment.name,
        title=moment.title,
        early=stamp(moment.early),
        likely=stamp(moment.likely),
        late=stamp(moment.late),
        probability=round(moment.share, 3),
        note=moment.note,
    )
