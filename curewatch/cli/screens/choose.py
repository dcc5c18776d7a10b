"""Which resin serves, in ten lines; with ``--why`` every resin against every demand. Pure."""

from collections.abc import Iterator

from curewatch.answers.choose import CandidateDocument, ChooseDocument, TabsDocument
from curewatch.answers.document import spoken
from curewatch.cli.screens.lines import LineGroup, fitting, wrapped
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

MOST = 10
MARK = {"met": "met", "met-with": "met with", "not-met": "not met", "not-known": "not known"}
TONIGHT = {"go": "GO", "no-go": "NO-GO", "unknown": "UNKNOWN"}


def lines(found: ChooseDocument, words: Wording, *, why: bool = False) -> list[str]:
    """The answer in ten lines; with ``why`` the table behind it."""
    return [*_first(found, words), *(_behind(found, words) if why else [])]


def _first(found: ChooseDocument, words: Wording) -> list[str]:
    best = found.candidates[0]
    if found.resin is None:
        groups = [LineGroup([*_none(found)], 0), LineGroup(wrapped(_because(best, words)), 0)]
    else:
        needs = [*wrapped(f"It needs {_joined(best.needs)}.")] if best.needs else []
        groups = [
            LineGroup(wrapped(f"USE {safe_line(best.resin)}: {safe_line(best.title)}", ""), 0),
            LineGroup(wrapped(_reason(found, words)), 0),
            LineGroup([line for each in found.step_cautions for line in wrapped(each)], 0),
            LineGroup(needs, 0),
            LineGroup(wrapped(_cost(found, best, words)), 2),
            LineGroup(_tonight(found, words), 1),
        ]
    groups += [LineGroup(wrapped(each), 3) for each in _own(found)]
    groups += [LineGroup(wrapped(_change(*each)), 4) for each in _changes(found)]
    end = ["  The maker's sheet comes first. Structural or classed work: ask a surveyor."]
    return fitting([*groups, LineGroup(end, 0), LineGroup(["  Every resin and demand: --why"], 1)], MOST)


def _none(found: ChooseDocument) -> list[str]:
    would = f"Would serve: {_joined(found.elsewhere)}." if found.elsewhere else "No generic resin would."
    return wrapped(f"NONE on the shelf serves. {would}", "")


def _because(candidate: CandidateDocument, words: Wording) -> str:
    missed = next(row for row in candidate.demands if row.meets == "not-met")
    return f"{safe_line(candidate.resin)} does not: {words.say(missed.reason)}."


def _reason(found: ChooseDocument, words: Wording) -> str:
    """Why not the one that usually costs least; else that it serves and costs least."""
    best = found.candidates[0]
    cheaper = [
        each for each in found.candidates if not each.serves and each.usual_cost_ratio < best.usual_cost_ratio
    ]
    if cheaper:
        return _because(min(cheaper, key=lambda each: each.usual_cost_ratio), words)
    if len(found.candidates) == 1:
        return "It meets every demand."
    return "It meets every demand, and nothing on the shelf that does costs less."


def _cost(found: ChooseDocument, best: CandidateDocument, words: Wording) -> str:
    if best.mixed_g is None:
        return f"Cost: {_usual(best)}. With --shape and --length: how much."
    mass = words.stated(best.mixed_g, "g")
    if best.cost is None:
        return f"Cost: {mass} of mix, {_usual(best)}. Your own prices: [resin] price."
    return f"Cost: {mass} of mix, {best.cost:.2f} {safe_line(found.currency)}".rstrip() + " by your price."


def _usual(best: CandidateDocument) -> str:
    if best.usual_cost_ratio == 1.0:
        return "usually the cheapest"
    return f"usually about {best.usual_cost_ratio:g} times a polyester"


def _tonight(found: ChooseDocument, words: Wording) -> list[str]:
    if found.tonight is None or found.tonight_reason is None:
        return []
    said = words.say(found.tonight_reason)
    peel = " Lay peel ply." if found.peel_ply_tonight else ""
    return wrapped(f"Tonight: {TONIGHT[found.tonight]}.{peel} {said[:1].upper()}{said[1:]}")[:2]


def _own(found: ChooseDocument) -> Iterator[str]:
    for test in found.own_tests:
        yield from (f"Own test {test.test}: {safe_line(said)}" for said in test.said)


def _changes(found: ChooseDocument) -> Iterator[tuple[str, str | None]]:
    for change in found.changes:
        yield change.what, change.resin


def _change(what: str, resin: str | None) -> str:
    return f"With {what}: {safe_line(resin) if resin else 'none on the shelf'}."


def _joined(parts: list[str]) -> str:
    return "; ".join(safe_line(part) for part in parts)


def _behind(found: ChooseDocument, words: Wording) -> Iterator[str]:
    for each in found.candidates:
        yield ""
        yield f"{safe_line(each.resin)}: {'serves' if each.serves else 'does not serve'}"
        for row in each.demands:
            origin = spoken(row.tag) + (f": {safe_line(row.source)}" if row.source else "")
            said = f"{row.title}: {MARK[row.meets]}; {words.say(row.reason)}"
            yield from wrapped(f"{said} ({origin})")
            yield from wrapped(f"needs {_joined(row.needs)}", "    ") if row.needs else []
    yield from ["", "Cautions"] if found.cautions else []
    for caution in found.cautions:
        yield from wrapped(words.retold(caution))


def tab_lines(test: TabsDocument) -> list[str]:
    """A bond test: what is next, what it says, and its tabs."""
    on = f"{test.test}: {test.pull} on {safe_line(test.face)}"
    nearest = next((tab for tab in test.tabs if tab.number == test.next_tab), None)
    step = (
        "All tabs are broken."
        if nearest is None
        else f"Next: tab {nearest.number}, {safe_line(nearest.way)}."
    )
    return [
        f"{on}. {step}",
        *(line for said in test.said for line in wrapped(safe_line(said))),
        *(
            f"  {tab.number:2}  {safe_line(tab.way):40}  {_broken(tab.load, tab.broke, test.unit)}"
            for tab in test.tabs
        ),
    ]


def _broken(load: float | None, broke: str | None, unit: str) -> str:
    return "" if load is None else f"{load:g} {safe_line(unit)}, in the {broke}"
