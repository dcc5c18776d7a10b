"""The next marks of a layer, a line each: a deadline by its early end, all else as a range."""

import math
from collections.abc import Iterable

from curewatch.answers.document import moment
from curewatch.answers.parts import MomentDocument
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, sure_window

DEADLINES = {"use-up": "use the batch up", "kicks": "kicks in its pot", "working-time": "working time ends"}
NOT_APART = {"laminate-before"}  # stands in the line of laminate-from
LEFT = 22  # columns of a mark's name


def next_marks(timeline: Iterable[MomentDocument], now: float, wording: Wording, most: int) -> list[str]:
    """The lines of the next marks after ``now``, the soonest first. [UTC s]"""
    every = {each.name: each for each in timeline}
    coming = [(due, each) for each in every.values() if (due := _due(each)) is not None and due > now]
    coming.sort(key=lambda pair: pair[0])
    return [
        f"  {_title(each):<{LEFT}}{_when(each, every.get('laminate-before'), now, wording)}"
        for _, each in coming
        if each.name not in NOT_APART
    ][:most]


def _due(each: MomentDocument) -> float | None:
    return moment(each.early if each.name in DEADLINES else each.likely)


def _title(each: MomentDocument) -> str:
    if each.name == "laminate-from":
        return "laminate again"
    return DEADLINES.get(each.name, safe_line(each.title.partition(":")[0]))


def _when(each: MomentDocument, closes: MomentDocument | None, now: float, wording: Wording) -> str:
    early, likely, late = moment(each.early), moment(each.likely), moment(each.late)
    if each.name in DEADLINES:
        return f"before {wording.foreseen(early, now, math.floor)}"
    if each.name == "laminate-from":
        return _window(likely, None if closes is None else moment(closes.early), now, wording)
    if late is None:
        return f"from {wording.foreseen(early, now)}, likely {wording.foreseen(likely, now)}"
    return f"{_between(early, late, now, wording)}, likely {wording.foreseen(likely, now)}"


def _between(early: float | None, late: float, now: float, wording: Wording) -> str:
    begin, end = wording.foreseen(early, now, math.floor), wording.foreseen(late, now, math.ceil)
    return f"between {begin} and {end}"


def _window(opens: float | None, closes: float | None, now: float, wording: Wording) -> str:
    begin = f"from {wording.foreseen(opens, now)}"
    if closes is None:
        return begin
    if not sure_window(opens, closes):
        return f"{begin}; no sure window: plan to abrade"
    return f"{begin}, before {wording.foreseen(closes, now, math.floor)}"
