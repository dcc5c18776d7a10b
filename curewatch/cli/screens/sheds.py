"""All sheds, a line each: the answer of ``sheds``, and the rows above a board of several."""

from collections.abc import Sequence

from rich.text import Text

from curewatch.answers.deadlines import countdown
from curewatch.answers.sheds import ShedLineDocument, ShedsDocument, counted
from curewatch.cli.screens.lines import kept_words
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

COLOUR = {"go": "green", "no-go": "red", "unknown": "bold"}
NAMED = 20  # columns at most of a shed's name


def lines(answer: ShedsDocument, words: Wording, board: str = "--shed {shed}") -> list[str]:
    """How many of each, then each with its reason and its next deadline; ``board``: how one is asked for."""
    now, wide = utc_from_iso(answer.at), _width(answer.sheds)
    told = [f"{counted(answer.sheds)} ({words.moment(now, now)})"]
    for line in answer.sheds:
        told.append(f"{_shown(line, wide)}  {safe_line(words.say(line.reason, now))}")
        if line.deadline is not None:
            told.append(f"{'':{wide}}  {_deadline(line, now, words)}")
    if answer.sheds and answer.sheds[0].shed:
        told.append(f"Its board: curewatch watch {board.format(shed=answer.sheds[0].shed)}")
    return told


def _width(sheds: Sequence[ShedLineDocument]) -> int:
    return min(NAMED, max((len(_name(line)) for line in sheds), default=0))


def _name(line: ShedLineDocument) -> str:
    return safe_line(line.shed or line.name, NAMED)


def _shown(line: ShedLineDocument, wide: int) -> str:
    alerts = "" if not line.ringing else f"  {line.ringing} {'ALERT' if line.ringing == 1 else 'ALERTS'}"
    return f"{_name(line):<{wide}}  {line.verdict.upper():<7}{alerts}"


def _deadline(line: ShedLineDocument, now: float, words: Wording) -> str:
    if line.deadline is None:
        return ""
    due = utc_from_iso(line.deadline.due)
    return (
        f"{line.deadline.text} {words.moment(due, now)}, in {countdown(due - now)} h ({line.deadline.layer})"
    )


def rows(
    answer: ShedsDocument, chosen: str, words: Wording, *, keys: Sequence[str], width: int, most: int
) -> list[Text]:
    """At most so many rows: the worst sheds, and the chosen one always.

    ``keys`` has all sheds in the order of the file: the first nine are chosen by their number.
    """
    shown = [*answer.sheds]
    if len(shown) > most:
        rest = [line for line in shown if line.shed != chosen]
        kept = [line.shed for line in rest[: max(0, most - 2)]] + [chosen]
        shown = [line for line in shown if line.shed in kept]
    told = [_row(line, chosen, words, keys=keys, at=answer.at, width=width) for line in shown]
    left = len(answer.sheds) - len(shown)
    return [*told, *([Text(f"   and {left} more: curewatch sheds"[:width])] if left else [])]


def _row(
    line: ShedLineDocument, chosen: str, words: Wording, *, keys: Sequence[str], at: str, width: int
) -> Text:
    now = utc_from_iso(at)
    number = keys.index(line.shed) + 1
    mark, key = "▸" if line.shed == chosen else " ", str(number) if number <= 9 else " "
    wide = max(len(each) for each in keys)
    due = f"{_deadline(line, now, words)}  " if line.deadline else ""
    said = f"{mark}{key} {_shown(line, min(wide, NAMED))}  {due}{safe_line(words.say(line.reason, now))}"
    if len(said) > width:
        said = f"{kept_words(said, width - 1)}…"
    return Text(said, style="bold" if line.ringing else COLOUR[line.verdict])
