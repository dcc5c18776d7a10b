"""A notice in words: one line that a locked phone shows whole, job and part first, and what stands below it.

A line that is too long first loses characters of its names beyond a usual length, then what follows its
last semicolon or sentence, then further characters of its names. The verdict and the moment stay. What was
lost stands below the line.
"""

import re
from collections.abc import Iterator, Mapping

from msgspec.structs import replace

from curewatch.advice.alert.alerts import Event
from curewatch.notices.outbox import Notice
from curewatch.phrases import Phrase, Said, numbers_of, words_of
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

LONGEST = 120  # characters that a locked phone shows (assumed; phones show 110 to 180)
NAME = 54  # a job, a part of forty characters, and a layer
SHORT_NAME = 20
# Characters of the name that comes first, and of the others; whether every clause stays.
TRIES = (
    (LONGEST, LONGEST, True),
    *((NAME, others, whole) for whole in (True, False) for others in (40, 30, SHORT_NAME)),
    (SHORT_NAME, SHORT_NAME, False),
)
CLAUSE = re.compile(r"; |\. ")
LISTED = 10  # alerts of one notice that are told in full
AGAIN = " (again)"


def text_of(notice: Notice, words: Wording, now: float, shed: str = "") -> str:
    """The one line: how many, and the first of them. ``shed`` is its name where there are several."""
    of = f"{safe_line(short_name(shed, SHORT_NAME))}, " if shed else ""
    before = of + (f"{len(notice.events)} alerts: " if len(notice.events) > 1 else "")
    after = AGAIN if notice.again else ""
    return before + line(notice.events[0], words, now, LONGEST - len(before) - len(after)) + after


def body_of(notice: Notice, words: Wording, now: float, text: str) -> str:
    """What to do about each, a line or two each; and what ``text``, its one line, has no room for."""
    told = []
    for event in notice.events[:LISTED]:
        advised = safe_line(words.say(event.advised, now))
        whole = safe_line(words.say(event.text, now))
        told += ["" if len(notice.events) == 1 and whole in text else whole, advised]
    left = len(notice.events) - LISTED
    told.append(f"and {left} more: curewatch alerts" if left > 0 else "")
    return "\n".join(each for each in told if each)


def line(event: Event, words: Wording, now: float, longest: int = LONGEST) -> str:
    """The alert on one line of at most so many characters. [UTC s]"""
    for first, others, whole in TRIES:
        shortened = _shortened(event.text, first, others)
        for told in _ever_shorter(shortened, safe_line(words.say(shortened, now))):
            if len(told) <= longest:
                return told
            if whole:
                break
    return told[: longest - 1] + "…"


def short_name(name: str, longest: int) -> str:
    """A name with its middle left out: job and layer stay."""
    if len(name) <= longest:
        return name
    end = (longest - 1) // 3
    return f"{name[: longest - 1 - end]}…{name[-end:] if end else ''}"


def _shortened(said: Said, first: int, others: int) -> Said:
    if not isinstance(said, Phrase):
        return said
    numbers: Mapping[str, float | str] = {
        key: short_name(value, first if said.words.startswith(f"{{{key}}}") else others)
        if isinstance(value, str)
        else value
        for key, value in said.numbers.items()
    }
    return replace(said, numbers=numbers)


def _ever_shorter(said: Said, text: str) -> Iterator[str]:
    """The text, then without its last clause, and so on; a mark in the name that comes first ends none."""
    yield text
    of = re.match(r"\{(\w+)\}", words_of(said))
    name = "" if of is None else safe_line(str(numbers_of(said)[of[1]]))
    ends = [found.start() for found in CLAUSE.finditer(text, len(name))]
    yield from (text[:end] for end in reversed(ends))
