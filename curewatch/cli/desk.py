"""Where something is told to the logbook: which job, when it happened, when it was said, and by whom."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

import typer

from curewatch.answers.job import entry_document
from curewatch.cli.forms import ask_when, at_terminal, nothing_given
from curewatch.cli.options import settings
from curewatch.cli.safe_text import safe_line
from curewatch.cli.terminal import print_json, say
from curewatch.cli.typed import past_from_text, span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import Entry, LogbookStore, StoredEntry, open_logbook
from curewatch.wording import Wording

JobOption = Annotated[str | None, typer.Option("--job", help="Which job; else the one that is open.")]
AgoOption = Annotated[str | None, typer.Option("--ago", metavar="SPAN", help="It was so long ago: 20 min.")]
AtOption = Annotated[
    str | None, typer.Option("--at", metavar="TIME", help="It was at this time: 21:40, the shed's time.")
]
ByOption = Annotated[str | None, typer.Option("--by", help="Who.")]


@dataclass(frozen=True, slots=True)
class Bench:
    """What every form needs: where to write, how to speak, what time it is."""

    logbook: LogbookStore
    configuration: Configuration
    words: Wording
    now: float
    happened: float
    afterwards: bool

    def asked_when(self, given: Mapping[str, str | None]) -> "Bench":
        """The same at the moment the person says, where a whole form is asked and no option told it."""
        ask = at_terminal()
        if ask is None or self.afterwards or not nothing_given(given):
            return self
        told = ask_when(ask, self.configuration.zone, self.now)
        return self if told is None else replace(self, happened=told, afterwards=True)

    def entry(self, entry: Entry) -> StoredEntry:
        """Write an entry with when it happened, when it was told, and whether those differ."""
        marked = dict(entry.payload) | ({"given_afterwards": True} if self.afterwards else {})
        return self.logbook.write(
            Entry(entry.kind, marked, entry.at, job=entry.job, key=entry.key, recorded=self.now)
        )


@contextmanager
def desk(
    config: Path | None, units: str | None = None, ago: str | None = None, at: str | None = None
) -> Iterator[Bench]:
    """The logbook open for writing, and the moment that is meant."""
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    if ago is not None and at is not None:
        raise UsageError("--ago and --at both say when; give one of them")
    happened = now
    if ago is not None:
        happened = now - span_from_text(ago)
    elif at is not None:
        happened = past_from_text(at, configuration.zone, now)
    path = logbook_path(configuration)
    path.parent.mkdir(parents=True, exist_ok=True)
    with open_logbook(path) as logbook:
        yield Bench(logbook, configuration, words, now, happened, happened != now)


def said(place: Bench, stored: StoredEntry, text: str, json: bool) -> None:
    """Tell what was written down."""
    if json:
        print_json(entry_document(stored))
        return
    when = place.words.moment(stored.at, place.now)
    told = " (told afterwards)" if stored.payload.get("given_afterwards") else ""
    say(f"{when}{told}  {safe_line(text)}  [job {safe_line(stored.job or '-')}, entry {stored.number}]")
