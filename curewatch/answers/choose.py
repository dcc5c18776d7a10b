"""The documents of `choose` and `tabs`: which resin serves a repair, and the person's own bond tests."""

from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import SentenceDocument, Shape, Utc, code, number, says, sentence, stamp
from curewatch.units import gram_from_kilogram, millimetre_from_metre, percent_from_fraction

if TYPE_CHECKING:
    from curewatch.advice.choose.choice import Candidate, Choice
    from curewatch.advice.choose.demands import DemandRow
    from curewatch.advice.judge.answer import Advice
    from curewatch.wording import Wording
    from curewatch.worklog.tabs import TabTest

Verdict = Literal["go", "no-go", "unknown"]


class DemandDocument(Shape, frozen=True, kw_only=True):
    """One demand, held against one resin."""

    demand: Annotated[str, says("Stable: bond-bare-timber, taper, water, sun, structural, load, own-test …")]
    title: Annotated[str, says("In words")]
    meets: Annotated[Literal["met", "met-with", "not-met", "not-known"], says("How the resin meets it")]
    reason: Annotated[SentenceDocument, says("Why")]
    needs: Annotated[list[str], says("What it is met with")]
    tag: Annotated[str, says("Kind of origin: common-practice, computed, sheet, own-test …")]
    source: Annotated[str, says("Origin, or empty")]


class CandidateDocument(Shape, frozen=True, kw_only=True):
    """One resin of the shelf."""

    resin: Annotated[str, says("Name")]
    title: Annotated[str, says("What it is")]
    serves: Annotated[bool, says("Whether it misses no demand")]
    demands: Annotated[list[DemandDocument], says("Every demand")]
    needs: Annotated[list[str], says("What it takes besides")]
    mixed_g: Annotated[float | None, says("Mixed resin for this repair; null where its size was not told")]
    cost: Annotated[float | None, says("By the user's own price, in their currency; null without one")]
    usual_cost_ratio: Annotated[float, says("Of such work over that with a polyester (common practice)")]


class RoomDocument(Shape, frozen=True, kw_only=True):
    """The room for the taper."""

    scarf_ratio: Annotated[float, says("Length to depth that fits")]
    wanted_mm: Annotated[float, says("Length of the usual taper")]
    lost_percent: Annotated[float, says("Of the bonding area of the usual taper that is missing")]


class ChangeDocument(Shape, frozen=True, kw_only=True):
    """What would change the answer."""

    what: Annotated[str, says("What would have to be so")]
    resin: Annotated[str | None, says("The resin that would then serve; null: none on the shelf")]


class OwnTestDocument(Shape, frozen=True, kw_only=True):
    """A bond test of the user's own."""

    test: Annotated[str, says("Name: T1 …")]
    at: Annotated[Utc, says("When it was laid out (ISO 8601, UTC)")]
    face: Annotated[str, says("What it was laid on")]
    pull: Annotated[Literal["peel", "shear"], says("How the tabs were loaded")]
    lot: Annotated[str, says("Lots, in the user's words; or empty")]
    said: Annotated[list[str], says("What it shows, with its uncertainty, two ways at a time")]


class ChooseDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch choose`."""

    at: Annotated[Utc, says("When it was said (ISO 8601, UTC)")]
    resin: Annotated[str | None, says("The resin that serves; null: none on the shelf does")]
    candidates: Annotated[list[CandidateDocument], says("The shelf, best first")]
    elsewhere: Annotated[list[str], says("Not on the shelf, and would serve; where nothing on it does")]
    room: Annotated[RoomDocument | None, says("For the taper; null where no limit was told")]
    changes: Annotated[list[ChangeDocument], says("What would change the answer")]
    tonight: Annotated[Verdict | None, says("Whether tonight's shed allows it; null without a resin")]
    tonight_reason: Annotated[SentenceDocument | None, says("Why")]
    peel_ply_tonight: Annotated[bool, says("Blush is likely tonight: peel ply is needed")]
    currency: Annotated[str, says("Of the costs; or empty")]
    cautions: Annotated[list[str], says("All that apply, the steps' own first")]
    step_cautions: Annotated[list[str], says("Of what it needs besides: primer, heat")]
    own_tests: Annotated[list[OwnTestDocument], says("Of the user's own")]


def choose_document(
    choice: "Choice",
    now: float,
    words: "Wording",
    *,
    advice: "Advice | None",
    currency: str,
    tests: "tuple[TabTest, ...]",
) -> ChooseDocument:
    """The choice as a document, with the verdict for a start now and the user's own tests."""
    from curewatch.advice.choose.demands import CAUTIONS
    from curewatch.advice.judge import cautions

    chosen = choice.chosen
    steps = [] if chosen is None else [CAUTIONS[step] for step in chosen.needs if step in CAUTIONS]
    room = choice.need.taper
    chemistry = None if chosen is None else chosen.resin.chemistry
    return ChooseDocument(
        at=stamp(now) or "",
        resin=None if chosen is None else chosen.resin.name,
        candidates=[_candidate(each, words) for each in choice.candidates],
        elsewhere=[each.name for each in choice.elsewhere],
        room=RoomDocument(
            scarf_ratio=round(room.ratio, 2),
            wanted_mm=round(millimetre_from_metre(room.wanted), 1),
            lost_percent=round(percent_from_fraction(room.lost), 1),
        )
        if choice.need.room
        else None,
        changes=[
            ChangeDocument(what=what, resin=None if then is None else then.name)
            for what, then in choice.changes
        ],
        tonight=None if advice is None else code(advice.verdict),
        tonight_reason=None if advice is None else sentence(advice.headline, words, now),
        peel_ply_tonight=advice is not None and advice.blush not in {"none", "unknown"},
        currency=currency,
        cautions=[] if chemistry is None else [*steps, *cautions.for_layup(chemistry, abrading=True)],
        step_cautions=steps,
        own_tests=[own_test_part(each) for each in tests],
    )


def _candidate(found: "Candidate", words: "Wording") -> CandidateDocument:
    return CandidateDocument(
        resin=found.resin.name,
        title=found.resin.title,
        serves=found.serves,
        demands=[_demand(row, words) for row in found.rows],
        needs=list(found.needs),
        mixed_g=None if found.mass is None else number(gram_from_kilogram(found.mass)),
        cost=number(found.cost, 2),
        usual_cost_ratio=found.resin.chemistry.usual_cost,
    )


def _demand(row: "DemandRow", words: "Wording") -> DemandDocument:
    return DemandDocument(
        demand=row.demand,
        title=row.title,
        meets=code(row.meets),
        reason=sentence(row.reason, words),
        needs=list(row.needs),
        tag=code(row.origin.tag),
        source=row.origin.source,
    )


def own_test_part(test: "TabTest") -> OwnTestDocument:
    """A test as it stands."""
    from curewatch.advice.choose.tabs import in_words

    return OwnTestDocument(
        test=test.name,
        at=stamp(test.at) or "",
        face=test.face,
        pull=code(test.pull),
        lot=test.lot,
        said=[in_words(found, test.pull) for _, _, found in test.compared()],
    )


class TabDocument(Shape, frozen=True, kw_only=True):
    """One tab."""

    number: Annotated[int, says("In the order in which they are broken")]
    way: Annotated[str, says("How it is laid")]
    load: Annotated[float | None, says("At which it broke; null: not yet")]
    unit: Annotated[str, says("Of the load")]
    broke: Annotated[Literal["face", "laminate", "timber"] | None, says("Where; null: not yet")]


class TabsDocument(OwnTestDocument, frozen=True, kw_only=True):
    """The answer of `curewatch tabs`: a test with its tabs."""

    unit: Annotated[str, says("Of the loads")]
    tabs: Annotated[list[TabDocument], says("In the order drawn by lot")]
    next_tab: Annotated[int | None, says("The one to break next; null: all are broken")]


def tabs_document(test: "TabTest") -> TabsDocument:
    """A test with every tab."""
    from msgspec.structs import asdict

    broken = {tab.number: tab for tab in test.tabs}
    return TabsDocument(
        **asdict(own_test_part(test)),
        unit=test.unit,
        tabs=[
            TabDocument(
                number=at,
                way=way,
                unit=test.unit,
                load=broken[at].load if at in broken else None,
                broke=code(broken[at].broke) if at in broken else None,
            )
            for at, way in enumerate(test.order, start=1)
        ],
        next_tab=test.next_tab,
    )
