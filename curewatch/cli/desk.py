"""Where something is told to the logbook: which job, when it happened, when it was said, and by whom."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import Struct
from msgspec.structs import replace

from curewatch.answers.job import entry_document
from curewatch.cli.forms import ask_when, at_terminal, nothing_given
from curewatch.cli.options import settings
from curewatch.cli.telling import open_to_tell
from curewatch.cli.terminal import print_json, say
from curewatch.cli.typed import past_from_text, span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import Entry, LogbookStore, StoredEntry
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

if TYPE_CHECKING:
    from curewatch.phrases import Said
    from curewatch.worklog import Job
    from curewatch.worklog.order import ToldTime

JobOption = Annotated[str | None, typer.Option("--job", help="Which job; else the one that is open.")]
AgoOption = Annotated[str | None, typer.Option("--ago", metavar="SPAN", help="It was so long ago: 20 min.")]
AtOption = Annotated[
    str | None, typer.Option("--at", metavar="TIME", help="It was at this time: 21:40, the shed's time.")
]
ForceOption = Annotated[bool, typer.Option("--force", help="Keep a time that contradicts another.")]
ByOption = Annotated[str | None, typer.Option("--by", help="Who.")]


class Bench(Struct, frozen=True):
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

    def in_order(self, job: "Job | None", told: "ToldTime", *, force: bool) -> None:
        """Ask back what contradicts what was told before; UsageError where it is not kept."""
        from curewatch.worklog.order import contradictions

        asked_back(contradictions(job, told), self.words, self.now, force=force)

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
    with open_to_tell(configuration, path) as logbook:
        yield Bench(logbook, configuration, words, now, happened, happened != now)


def asked_back(questions: "Sequence[Said]", words: Wording, now: float, *, force: bool) -> None:
    """Whether a time is kept though it contradicts another: asked on a terminal, else only with --force.

    Raises
    ------
    UsageError
        It is not kept; nothing was written down.
    """
    if not questions or force:
        return
    said, ask = "; ".join(words.say(each, now) for each in questions), at_terminal()
    if ask is None:
        raise UsageError(f"the time: found that {said}. Use the right --at, or --force to keep it")
    say(f"{said}.")
    if ask("keep it all the same (y/n)", "n").strip().lower() not in {"y", "yes"}:
        raise UsageError("nothing was written down. Tell it again with the right time")


def said(place: Bench, stored: StoredEntry, text: str, json: bool) -> None:
    """Tell what was written down."""
    if json:
        print_json(entry_document(stored))
        return
    when = place.words.moment(stored.at, place.now)
    told = " (told afterwards)" if stored.payload.get("given_afterwards") else ""
    say(f"{when}{told}  {safe_line(text)}  [job {safe_line(stored.job or '-')}, entry {stored.number}]")
