"""Parts that several documents share."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import Shape, Utc, says, stamp
from curewatch.units import MINUTE

if TYPE_CHECKING:
    from curewatch.advice.judge.answer import Check, Moment
    from curewatch.model.fit.score import Deviation, Score
    from curewatch.model.mass.buildup import Buildup


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


class ScoreDocument(Shape, frozen=True, kw_only=True):
    """How often the range told of one thing came true with this resin, here."""

    observed: Annotated[str, says("What was seen: gelled, tack-free …")]
    layers: Annotated[int, says("Of how many layers it was seen")]
    within: Annotated[int, says("Within the range told, which holds 8 in 10")]
    early: Annotated[int, says("Earlier")]
    late: Annotated[int, says("Later")]
    text: Annotated[str, says("The same in words")]


def score_parts(pulls: "Iterable[Deviation]") -> list[ScoreDocument]:
    """The user's own score as a part of a document."""
    from curewatch.model.fit.score import scored

    return [
        ScoreDocument(
            observed=each.observed,
            layers=each.told,
            within=each.within,
            early=each.early,
            late=each.late,
            text=_score(each),
        )
        for each in scored(pulls)
    ]


def _score(each: "Score") -> str:
    out = ", ".join(
        f"{count} {word}" for count, word in ((each.early, "early"), (each.late, "late")) if count
    )
    layers = "layer" if each.told == 1 else "layers"
    seen = f"of {each.told} {layers} here, {each.within} {each.observed} within the range told"
    return f"{seen}; {out}" if out else seen


class FaceBelowDocument(Shape, frozen=True, kw_only=True):
    """The face that is laid on: whether it bonds, whether it is dry."""

    status: Annotated[Literal["holds", "care", "fails", "unknown"], says("The worst of its checks")]
    remarks: Annotated[list[str], says("What is wrong or done first; that nobody measured is said")]
    remedies: Annotated[list[str], says("What to do where it does not do")]


def face_below_part(checks: "Sequence[Check]") -> FaceBelowDocument:
    """The checks of the face below as a part of a document."""
    from curewatch.advice.judge.answer import Status
    from curewatch.advice.judge.ground import remedies
    from curewatch.advice.judge.reasons import why
    from curewatch.wording import plain_wording

    words, worst = plain_wording(), [Status.UNKNOWN, Status.FAILS, Status.CARE, Status.HOLDS]
    found = min((check.status for check in checks), key=worst.index, default=Status.HOLDS)
    told = [check for check in checks if check.status is not Status.HOLDS]
    said = [check.reason if check.status is Status.CARE else why(check) for check in told]
    return FaceBelowDocument(
        status=found.value,
        remarks=[words.say(each, 0.0) for each in said],
        remedies=[words.say(each, 0.0) for each in remedies(tuple(checks))],
    )


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


def layer_mm(buildup: "Buildup | None") -> float | None:
    """Thickness of the layer that times are for; none for a film."""
    return None if buildup is None else round(1e3 * buildup.thickness, 3)


def layer_on(buildup: "Buildup | None") -> str:
    """What it lies on, a warm layer and its age first; or empty."""
    if buildup is None or buildup.substrate is None:
        return ""
    if not buildup.before:
        return buildup.substrate.title
    minutes = -buildup.before[-1].at / MINUTE
    age = f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.0f} h"
    return f"a layer {age} old on {buildup.substrate.title}"
