"""What a fit to a maker's sheet says: how each statement is met, what contradicts, what is unknown. Pure."""

from curewatch.answers.document import BandDocument
from curewatch.answers.resin_fit import (
    ResinFitContradictionDocument,
    ResinFitDocument,
    ResinFitFilmDocument,
    ResinFitLostWindowDocument,
    ResinFitStatementDocument,
)
from curewatch.cli.screens.lines import paragraph
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, counted, duration

WIDTH = 78
MARK = {"met": " ", "kept": "=", "nearly-met": "~", "not-met": "!"}
RECOAT_UNTIL = "recoat until"
LEGEND = "  = kept: the time of the sheet is used   ~ nearly met   ! NOT met"
RATIO = (
    "The mix ratio is the maker's: never change it to change the speed; "
    "choose a faster or slower hardener instead."
)
DOSE = "Keep the dose of peroxide within the maker's limits."


def lines(found: ResinFitDocument, words: Wording) -> list[str]:
    """Answer first: met or not; then each statement; then what to do about it."""
    marked = any(each.verdict != "met" for each in found.statements)
    return [
        headline(found),
        "",
        f"  {'statement':<29}{'sheet':>11}{'computed':>12}{'8 in 10':>26}",
        *(line for each in found.statements for line in _row(each, words)),
        *([LEGEND] if marked else []),
        *(line for each in found.statements for line in _far(each, words)),
        *(line for each in found.contradictions for line in _contradiction(each, words)),
        *_lost_window(found.recoat_before_it_opens, words),
        *_unknown(found, words),
        "",
        f"  {'as a film at':<14}{'open':>13}{'gels':>13}{'tack-free':>13}{'firm':>13}",
        *(line for film in found.film for line in _film(film, words)),
        "  early and late: 8 in 10 lots, what the fit leaves open included",
        *_assumed(found),
        "",
        *_wrapped(DOSE if found.dosed else RATIO),
    ]


def headline(found: ResinFitDocument) -> str:
    """How well it went, in a line."""
    name, lost = safe_line(found.name), found.recoat_before_it_opens is not None
    missed = sum(each.verdict == "not-met" for each in found.statements) + lost
    shown = any(each.title.startswith(RECOAT_UNTIL) for each in found.statements)
    told = counted(len(found.statements) + (lost and not shown), "statement")
    if missed:
        return f"{name}: {missed} of {told} NOT met; check the sheet before you trust it"
    met = "all met" if len(found.statements) > 1 else "met"
    return f"{name}: {told}, {met} within what sheets are good for"


def _row(each: ResinFitStatementDocument, words: Wording) -> list[str]:
    stated, computed, early, late = (
        words.stated(value, each.unit) for value in (each.stated, each.computed, each.early, each.late)
    )
    title = f"{MARK[each.verdict]} {safe_line(words.retold(each.title))}"
    row = f"{stated:>11}{computed:>12}{early + ' .. ' + late:>26}"
    return [f"{title:<31}{row}"] if len(title) <= 31 else [title, f"{'':<31}{row}"]


def _far(each: ResinFitStatementDocument, words: Wording) -> list[str]:
    """A statement that does not follow from the others."""
    if each.foretold_low is None or each.foretold_high is None:
        return []
    low, high = (words.stated(value, each.unit) for value in (each.foretold_low, each.foretold_high))
    used = " Until then the time of the sheet is used." if each.verdict == "kept" else ""
    if each.cautious:
        used = " Its time is used: makers are often as cautious."
    return _urgent(
        f"Look again at “{words.retold(each.title)}”: {words.stated(each.stated, each.unit)}. By the other "
        f"statements it would be {low} to {high}. Check its mass, temperature and unit.{used}"
    )


def _contradiction(each: ResinFitContradictionDocument, words: Wording) -> list[str]:
    low, high, stated = (
        words.stated(value, each.unit) for value in (each.expected_low, each.expected_high, each.stated)
    )
    one, other = words.retold(each.one), words.retold(each.other)
    return _urgent(
        f"These two contradict each other: “{one}” and “{other}”. If the first holds, the second "
        f"would be {low} to {high}; the sheet states {stated}. Look at both again: mass, temperature, unit."
    )


def _lost_window(lost: ResinFitLostWindowDocument | None, words: Wording) -> list[str]:
    if lost is None:
        return []
    return _urgent(
        f"The recoat limit, {duration(lost.closes_s)} at {words.stated(lost.temperature_c, 'degC')}, comes "
        f"before the window opens: {duration(lost.opens_s)} by the other statements. No window would be "
        "left. Look at both again: minutes or hours, temperature, a film or a pot."
    )


def _urgent(text: str) -> list[str]:
    """A paragraph of its own, marked."""
    return [
        "",
        *(f"  ! {line}" if not index else f"    {line}" for index, line in enumerate(paragraph(text, 74))),
    ]


def _unknown(found: ResinFitDocument, words: Wording) -> list[str]:
    if not found.still_unknown:
        return []
    rows = [f"  {each.what:<40}{words.retold(each.would_tell)}" for each in found.still_unknown]
    title = f"still unknown, as in {safe_line(found.unknown_as_in, 17)}"
    return ["", f"  {title:<40}would be told by", *rows]


def _film(film: ResinFitFilmDocument, words: Wording) -> list[str]:
    marks = (film.working_time_s, film.gel_s, film.tack_free_s, film.firm_s)
    rows = ((words.stated(film.temperature_c, "degC"), "likely"), ("   early", "early"), ("   late", "late"))
    return [f"  {title:<14}{''.join(_cell(mark, which) for mark in marks)}" for title, which in rows]


def _cell(mark: BandDocument, which: str) -> str:
    seconds = getattr(mark, which)
    return f"{'-' if seconds is None else duration(seconds):>13}"


def _assumed(found: ResinFitDocument) -> list[str]:
    if not found.assumed:
        return []
    return ["", *_wrapped(f"Not on the sheet and taken as usual for the kind: {', '.join(found.assumed)}.")]


def _wrapped(text: str) -> list[str]:
    return paragraph(text, WIDTH, initial_indent="  ", subsequent_indent="  ")
