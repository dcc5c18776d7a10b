"""The page of large keys: for one hand in gloves, on a terminal of 40 columns or more.

A key is a box with its digit first. Where the terminal is too low for boxes each key is one row.
"""

from rich.text import Text

from curewatch.answers.bench import BenchDocument, BenchKeyDocument
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

WIDE = 72  # columns from which four keys stand beside each other
LOW = 12  # rows below which the head and the last press are short
TALLEST = 5  # rows of a key


def page(state: BenchDocument, words: Wording, width: int, height: int) -> list[Text]:
    """The rows of the page, as many as the terminal has; the last press and its undo are never cut."""
    head, foot = _head(state, words, width), _foot(state, width)
    if height < LOW:
        head, foot = head[:1] + head[2:][-1:], foot[-2:]
    room = max(1, height - len(head) - len(foot))
    body = [Text(f" {line}") for line in _written(state, width)] if state.written is not None else []
    body = body or _keys(state.keys, width, room)
    body = body[:room]
    return [*head, *body, *(Text() for _ in range(room - len(body))), *foot]


def _head(state: BenchDocument, words: Wording, width: int) -> list[Text]:
    now = utc_from_iso(state.at)
    rows = [Text(_cut(f" {words.time(now)}  {state.job or 'the bench'}", width), style="bold")]
    if state.part:
        layer = words.say(state.layer, now) if state.layer else f"{state.part}: no layer yet"
        rows.append(Text(_cut(f" {layer}", width)))
    if state.alert is not None:
        rows.append(Text(_cut(f" ! {words.say(state.alert, now)}", width), style="reverse bold"))
    elif state.stock is not None:
        rows.append(Text(_cut(f" {words.say(state.stock, now)}", width), style="dim"))
    return rows


def _foot(state: BenchDocument, width: int) -> list[Text]:
    if state.question:
        asked = _folded(f"{state.question}. Keep it?", width)
        return [
            *(Text(f" {line}", style="bold") for line in asked),
            Text(" y keep   n leave it", style="bold"),
        ]
    if state.asks:
        return [Text(_cut(f" {state.asks}", width), style="bold"), Text(" Esc back   q leave", style="dim")]
    said = [Text(f" {line}", style="bold") for line in _folded(state.line, width)] or [Text()]
    undo = "" if state.undo_s is None else f" u undo ({state.undo_s} s)  "
    return [*said, Text(_cut(f"{undo} j job  p part  q leave", width), style="dim")]


def _keys(keys: list[BenchKeyDocument], width: int, room: int) -> list[Text]:
    beside = 4 if width >= WIDE and len(keys) > 4 else 2 if len(keys) > 1 else 1
    lines = [keys[at : at + beside] for at in range(0, len(keys), beside)]
    tall = min(TALLEST, room // max(1, len(lines)))
    wide = (width - 1) // beside - 1
    return [row for line in lines for row in _line(line, wide, tall)]


def _line(keys: list[BenchKeyDocument], wide: int, tall: int) -> list[Text]:
    """The keys that stand beside each other."""
    labels = [_cut(f"{key.press}  {safe_line(key.label)}", wide - 4) for key in keys]
    if tall < 3:
        return [Text.assemble(*((f" {label:<{wide}}", "bold") for label in labels))]
    middle = (tall - 2) // 2
    rows = [_row("┌" + "─" * (wide - 2) + "┐", len(keys))]
    for inner in range(tall - 2):
        said = labels if inner == middle else [""] * len(keys)
        rows.append(Text.assemble(*((f" │ {each:<{wide - 4}} │", "bold") for each in said)))
    return [*rows, _row("└" + "─" * (wide - 2) + "┘", len(keys))]


def _row(edge: str, count: int) -> Text:
    return Text(f" {edge}" * count)


def _written(state: BenchDocument, width: int) -> list[str]:
    return _folded(f"{safe_line(state.written or '')}_", width)


def _folded(text: str, width: int) -> list[str]:
    """Words on as many rows as they need."""
    rows: list[str] = []
    for word in safe_line(text).split():
        if rows and len(rows[-1]) + 1 + len(word) <= width - 2:
            rows[-1] += f" {word}"
        else:
            rows.append(word[: width - 2])
    return rows


def _cut(text: str, width: int) -> str:
    """One line of at most so many columns, its first blank kept."""
    return (" " if text.startswith(" ") else "") + safe_line(text, max(1, width - 1))
