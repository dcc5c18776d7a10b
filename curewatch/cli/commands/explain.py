"""``curewatch explain``: a term of the trade in four sentences, with its caution and its source."""

import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import JsonOption, UnitsOption, reader
from curewatch.errors import UsageError

if TYPE_CHECKING:
    from curewatch.wording import Wording


@dataclass(frozen=True, slots=True)
class Term:
    """One term as the file tells it."""

    name: str
    says: tuple[str, ...]
    caution: str
    source: str
    tag: str
    also: tuple[str, ...]
    see: tuple[str, ...]
    command: str


def terms() -> dict[str, Term]:
    """Every term by its name, in the order of the alphabet."""
    tables = tomllib.loads(files("curewatch.cli").joinpath("terms.toml").read_text(encoding="utf-8"))
    return {
        name: Term(
            name,
            tuple(table["says"]),
            table["caution"],
            table["source"],
            table["tag"],
            tuple(table["also"]),
            tuple(table["see"]),
            table["try"],
        )
        for name, table in sorted(tables.items())
    }


def find(asked: str, among: dict[str, Term]) -> Term:
    """The term of this name or of another word for it.

    Raises
    ------
    UsageError
        There is none; it names the nearest.
    """
    words = {word: term for term in among.values() for word in term.also}
    words |= {term.name: term for term in among.values()}  # a name goes before another word for it
    wanted = " ".join(asked.lower().replace("_", " ").split())
    for spelling in (wanted, wanted.replace("-", " "), wanted.replace(" ", "-"), wanted.rstrip("s")):
        if spelling in words:
            return words[spelling]
    near = get_close_matches(wanted, words, n=1, cutoff=0.6)
    meant = f"did you mean {words[near[0]].name!r}?" if near else "`curewatch explain` lists the terms."
    raise UsageError(f"no term {asked!r}; {meant}")


def app(
    term: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="TERM",
            help="The term, or another word for it.",
            show_default=False,
            autocompletion=lambda incomplete: [name for name in terms() if name.startswith(incomplete)],
        ),
    ] = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """A term of the trade in four sentences, the last one its caution, with its source.

    Without a term: the list of them.

    Example: curewatch explain pot life
    """
    from curewatch.cli.terminal import print_json, say

    known = terms()
    if not term:
        print_json(list(known)) if json else say(*_listed(known).splitlines())
        return
    found = find(" ".join(term), known)
    if json:
        print_json(as_plain(found))
    else:
        say(*_told(found, reader(units)).splitlines())


def as_plain(term: Term) -> dict[str, object]:
    """A term for ``--json``."""
    return {
        "term": term.name,
        "says": list(term.says),
        "caution": term.caution,
        "source": term.source,
        "tag": term.tag,
        "see": list(term.see),
        "try": term.command,
    }


def _told(term: Term, words: "Wording") -> str:
    from textwrap import fill

    body = fill(words.retold(" ".join((*term.says, term.caution))), 78)
    source = fill(words.retold(f"Source ({term.tag}): {term.source}."), 78, subsequent_indent="  ")
    return f"{term.name}\n\n{body}\n\n{source}\nSee also: {', '.join(term.see)}.\nTry: {term.command}"


def _listed(known: dict[str, Term]) -> str:
    from textwrap import fill

    names = fill(", ".join(known), 78, initial_indent="  ", subsequent_indent="  ")
    return f"Terms:\n{names}\nOne of them: curewatch explain pot life"
