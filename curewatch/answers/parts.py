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
