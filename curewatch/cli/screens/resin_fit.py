"""What a fit to a maker's sheet says: how each statement is met, what contradicts, what is unknown. Pure."""

import math
from textwrap import wrap
from typing import Any

from curewatch.cli.safe_text import safe_line
from curewatch.materials.maker_sheet import MakerSheet
from curewatch.model.film.ensemble import Interval
from curewatch.model.fit.sheet_fit import Contradiction, LostWindow, Met, SheetFit
from curewatch.units import ZERO_CELSIUS
from curewatch.wording import Wording, duration

WIDTH = 78
MARKS = ("working_time", "gel", "tack_free", "firm")
MARK = {"met": " ", "nearly met": "~", "NOT met": "!"}
RATIO = (
    "The mix ratio is the maker's: never change it to change the speed; "
    "choose a faster or slower hardener instead."
)
DOSE = "Keep the dose of peroxide within the maker's limits."


def lines(
    sheet: MakerSheet, found: SheetFit, films: list[tuple[float, dict[str, Interval]]], words: Wording
) -> list[str]:
    """Answer first: met or not; then each statement; then what to do about it."""
    return [
        headline(found),
        "",
        f"  {'statement':<29}{'sheet says':>11}{'computed':>12}{'nine in ten':>26}",
        *(line for each in found.met for line in _row(each, words)),
        *(["  ~ nearly met   ! NOT met"] if any(each.verdict != "met" for each in found.met) else []),
        *(line for each in found.contradictions for line in _contradiction(each, words)),
        *_lost_window(found.lost_window, words),
        *_unknown(found, words),
        "",
        f"  {'as a film at':<14}{'open':>13}{'gels':>13}{'tack-free':>13}{'firm':>13}",
        *(line for kelvin, marks in films for line in _film(kelvin, marks, words)),
        "  early and late: nine of ten lots, what the fit leaves open included",
        *_assumed(sheet),
        "",
        *_wrapped(DOSE if sheet.chemistry.dosed else RATIO),
    ]


def headline(found: SheetFit) -> str:
    """How well it went, in a line."""
    name = safe_line(found.resin.name)
    missed = sum(abs(each.pull) > 2.0 for each in found.met) + (found.lost_window is not None)
    count = len(found.met) + (found.lost_window is not None)
    told = f"{count} statement{'s' if count != 1 else ''}"
    if missed:
        return f"{name}: {missed} of {told} NOT met; check the sheet before you trust it"
    met = "all met" if len(found.met) > 1 else "met"
    return f"{name}: {told}, {met} within what sheets are good for"


def as_plain(sheet: MakerSheet, found: SheetFit) -> dict[str, Any]:
    """The same for ``--json``: times in seconds, glass transitions in degC."""
    return {
        "name": found.resin.name,
        "based_on": sheet.based_on,
        "source": sheet.source,
        "band": "nine of ten, by what the fit leaves uncertain; a lot's spread comes on top",
        "statements": [
            {
                "title": each.title,
                "line": each.line,
                "unit": "degC" if _is_temperature(each) else "s",
                **{
                    key: round(_plain(each, getattr(each, key)), 2)
                    for key in ("stated", "computed", "early", "late")
                },
                "pull": round(each.pull, 2),
                "verdict": each.verdict,
            }
            for each in found.met
        ],
        "contradictions": [
            {"one": each.one, "other": each.other, "expected": list(each.expected), "stated": each.stated}
            for each in found.contradictions
        ],
        "recoat_before_it_opens": None
        if found.lost_window is None
        else {"closes_s": found.lost_window.closes, "opens_s": round(found.lost_window.opens, 1)},
        "still_unknown": [{"what": each.words, "would_tell": each.asks_for} for each in found.still_unknown],
        "assumed": list(sheet.mix_assumed),
        "covariance_keys": list(found.resin.covariance.keys),
    }


def _row(each: Met, words: Wording) -> list[str]:
    stated, computed, early, late = (
        _said(each.title, value, words) for value in (each.stated, each.computed, each.early, each.late)
    )
    title = f"{MARK[each.verdict]} {safe_line(words.retold(each.title))}"
    row = f"{stated:>11}{computed:>12}{early + ' .. ' + late:>26}"
    return [f"{title:<31}{row}"] if len(title) <= 31 else [title, f"{'':<31}{row}"]


def _contradiction(each: Contradiction, words: Wording) -> list[str]:
    low, high = (_said(each.other, value, words) for value in each.expected)
    stated = _said(each.other, each.stated, words)
    one, other = words.retold(each.one), words.retold(each.other)
    text = (
        f"These two contradict each other: “{one}” and “{other}”. If the first holds, the second "
        f"would be {low} to {high}; the sheet says {stated}. Look at both again: mass, temperature, unit."
    )
    return ["", *(f"  ! {line}" if not index else f"    {line}" for index, line in enumerate(wrap(text, 74)))]


def _unknown(found: SheetFit, words: Wording) -> list[str]:
    if not found.still_unknown:
        return []
    rows = [f"  {each.words:<40}{words.retold(each.asks_for)}" for each in found.still_unknown]
    return ["", f"  {'still unknown, as in ' + safe_line(found.base.parent, 17):<40}would be told by", *rows]


def _lost_window(lost: LostWindow | None, words: Wording) -> list[str]:
    if lost is None:
        return []
    text = (
        f"The recoat limit, {duration(lost.closes)} at {words.temperature(lost.temperature)}, comes before "
        f"the window opens: {duration(lost.opens)} by the other statements. No window would be left. Look at "
        "both again: minutes or hours, temperature, a film or a pot."
    )
    return ["", *(f"  ! {line}" if not index else f"    {line}" for index, line in enumerate(wrap(text, 74)))]


def _film(kelvin: float, marks: dict[str, Interval], words: Wording) -> list[str]:
    rows = ((words.temperature(kelvin), "likely"), ("   early", "early"), ("   late", "late"))
    return [
        f"  {title:<14}{''.join(_cell(getattr(marks[mark], which)) for mark in MARKS)}"
        for title, which in rows
    ]


def _cell(seconds: Any) -> str:
    value = float(seconds)
    return f"{duration(value) if math.isfinite(value) else '-':>13}"


def _assumed(sheet: MakerSheet) -> list[str]:
    if not sheet.mix_assumed:
        return []
    return [
        "",
        *_wrapped(f"Not on the sheet and taken as usual for the kind: {', '.join(sheet.mix_assumed)}."),
    ]


def _wrapped(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _said(title: str, value: float, words: Wording) -> str:
    return words.temperature(value) if title.startswith("Tg") else duration(value)


def _is_temperature(each: Met) -> bool:
    return each.title.startswith("Tg")


def _plain(each: Met, value: float) -> float:
    return value - ZERO_CELSIUS if _is_temperature(each) else value
