"""The document of `observe`: what somebody saw of a lot, and what each observation taught."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

from curewatch.answers.document import Shape, code, says

if TYPE_CHECKING:
    from curewatch.model.fit.learning import Lesson


class ObservationDocument(Shape, frozen=True, kw_only=True):
    """One observation and what it taught."""

    observed: Annotated[str, says("kicked, gelled, tack-free, firm, test-cup")]
    entry: Annotated[int | None, says("Its number in the logbook; null while it is not written down")]
    elapsed_s: Annotated[float, says("When it was observed, from mixing")]
    expected_s: Annotated[float, says("When it was expected")]
    expected_early_s: Annotated[float, says("Early edge: 8 in 10 lie between the edges")]
    expected_late_s: Annotated[float, says("Late edge")]
    possible_early_s: Annotated[float, says("Early edge: 99 of 100 lie between the edges")]
    possible_late_s: Annotated[float, says("Late edge")]
    contradicts: Annotated[bool, says("Outside the band that holds 99 of 100, and too few alike")]
    together: Annotated[list[int], says("Earlier entries that contradicted alike: they are learnt with it")]
    used: Annotated[bool, says("Whether times of this layer take it into account")]
    rate_factor: Annotated[float, says("How many times as fast this lot is held to be now")]
    uncertainty_before_percent: Annotated[float, says("Of such a time, before: 8 in 10 lie within it")]
    uncertainty_after_percent: Annotated[float, says("And after")]
    rate_sd: Annotated[float, says("Of the new version: standard deviation of the logarithm of the rate")]
    resin: Annotated[str, says("Resin")]
    version: Annotated[int, says("New version")]
    parent: Annotated[str, says("The version it came from")]
    fast_lot: Annotated[float, says("Rate of a fast lot, 95 %")]


class ObserveDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch observe`."""

    withdrawn: Annotated[int | None, says("Entry that --undo withdrew")]
    layer: Annotated[str, says("The layer it is about; empty for a test cup")]
    resin: Annotated[str, says("Resin")]
    lot: Annotated[str | None, says("The lot it is about; null where none was named")]
    observations: Annotated[list[ObservationDocument], says("All that count for this lot, in order")]


def observe_document(
    lessons: "Sequence[Lesson]", *, layer: str, resin: str, lot: str | None, withdrawn: int | None = None
) -> ObserveDocument:
    """All observations of a lot, as they count for a layer; an empty name is the lot as a whole."""
    return ObserveDocument(
        withdrawn=withdrawn,
        layer=layer,
        resin=resin,
        lot=lot,
        observations=[observation_part(each, layer, _taken(lessons)) for each in lessons],
    )


def _taken(lessons: "Sequence[Lesson]") -> frozenset[int]:
    """Entries that contradicted, and were learnt with a later one."""
    return frozenset(each.number for lesson in lessons for each in lesson.together)


def observation_part(
    lesson: "Lesson", layer: str, taken: frozenset[int] = frozenset()
) -> ObservationDocument:
    """One observation, as it counts for a layer; ``taken`` are entries learnt with a later one."""
    from curewatch.model.film.lots import FAST, REACH, rate_factor_at

    early, late = lesson.expected_band
    earliest, latest = lesson.believed_band
    return ObservationDocument(
        observed=code(lesson.evidence.observed),
        entry=lesson.evidence.number or None,
        elapsed_s=round(lesson.evidence.elapsed, 1),
        expected_s=round(lesson.expected, 1),
        expected_early_s=round(early, 1),
        expected_late_s=round(late, 1),
        possible_early_s=round(earliest, 1),
        possible_late_s=round(latest, 1),
        contradicts=lesson.contradicts,
        together=sorted(each.number for each in lesson.together),
        used=lesson.counts_for(layer) or lesson.evidence.number in taken,
        rate_factor=round(lesson.factor, 4),
        uncertainty_before_percent=round(100.0 * REACH * lesson.spread_before, 2),
        uncertainty_after_percent=round(100.0 * REACH * lesson.spread_after, 2),
        rate_sd=round(lesson.after.rate_sd, 4),
        resin=lesson.after.name,
        version=lesson.after.version,
        parent=lesson.after.parent,
        fast_lot=round(rate_factor_at(lesson.after, FAST), 4),
    )
