"""``curewatch explain``: a term of the trade in four sentences, with its caution and its source."""

import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import JsonOption, UnitsOption, reader
from curewatch.errors import UsageError

if TYPE_CHECKING:
    from curewatch.answers.explain import TermDocument

TERMS = Path(__file__).parents[1] / "terms.toml"


def terms() -> "dict[str, TermDocument]":
    """Every term by its name, in the order of the alphabet."""
    from curewatch.answers.explain import term_document

    tables = tomllib.loads(TERMS.read_text(encoding="utf-8"))
    return {name: term_document(name, table) for name, table in sorted(tables.items())}


def find(asked: str, among: "Mapping[str, TermDocument]") -> "TermDocument":
    """The term of this name or of another word for it.

    Raises
    ------
    UsageError
        There is none; it names the nearest.
    """
    words = {word: term for term in among.values() for word in term.also}
    words |= {term.term: term for term in among.values()}  # a name goes before another word for it
    wanted = " ".join(asked.lower().replace("_", " ").split())
    for spelling in (wanted, wanted.replace("-", " "), wanted.replace(" ", "-"), wanted.rstrip("s")):
        if spelling in words:
            return words[spelling]
    near = get_close_matches(wanted, words, n=1, cutoff=0.6)
    meant = f"did you mean {words[near[0]].term!r}?" if near else "`curewatch explain` lists the terms."
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
    from curewatch.answers.explain import term_list_document
    from curewatch.cli.screens.explain import list_lines, term_lines
    from curewatch.cli.terminal import print_json, say

    known = terms()
    if not term:
        listed = term_list_document(known)
        print_json(listed) if json else say(*list_lines(listed))
        return
    found = find(" ".join(term), known)
    print_json(found) if json else say(*term_lines(found, reader(units)))
