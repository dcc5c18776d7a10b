"""One thing has one name: words that lost are in no help page, schema, term, document or public identifier.

The table is the whole rule: a word that lost, what won, and where it may stay, each with its reason.
"""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
import typer.main

import curewatch
import curewatch.cli.main as program
from curewatch.answers import catalogue

ROOT = Path(__file__).parents[2]
CODE = Path(curewatch.__file__).parent

# word that lost -> (what won, {a text in which it may stay: the reason})
LOST: dict[str, tuple[str, dict[str, str]]] = {
    r"bond window": ("recoat window", {}),
    r"open[ -]time": ("working time", {}),
    r"stays? put|stays_put": ("recoat from", {}),
    r"promoter": ("accelerator", {}),
    r"catalyst": ("peroxide", {'also = ["catalyst"': "what people look up: it leads to peroxide"}),
    r"likelihood": ("probability", {}),
    r"probability_percent": ("probability", {}),
    r"peelply": ("peel ply", {}),
    r"not held": ("not met", {}),
    r"no alert stands|alerts? that stands?|nothing_stands": ("active", {}),
    r"warranty record": ("cure record", {}),
    r"No layup|layup closed|jobs\.Layup": ("layer", {}),
    r"ResinSystem|system : |`system`|`layup closed`": ("resin, layer", {}),
    r"`why`|`seen`|`state`, `was`": ("reason, observed, health", {}),
    r"bond_window": ("recoat_window", {}),
    r"refused_lines|Refusals|tell_refusals": ("rejected", {}),
    r"(best|good)-digital|hobby-one-wire|one-wire-probe|combined-pressure-chip": ("a class of parts", {}),
    r"polyester-layup": ("polyester-laminating", {}),
    r"--(to|out|anyway|rehearse|form)\b(?![=-])": ("--output, --force, --dry-run, --format", {}),
    r"curewatch saw\b|`saw\b": ("observe", {}),
}
# public identifiers that lost; whole names
NAMES = {"stays_put", "hard", "open_time", "likelihood", "blush_why", "standing_as_plain", "Layup", "System"}
NAMES |= {"Crowd", "CrowdPath", "Paces", "Walk", "Walked", "HeatedWalk", "Passings", "Warmth", "ToldBeside"}


def pages() -> Iterator[tuple[str, str]]:
    """Every help page as a person reads it."""
    root: Any = typer.main.get_command(program.application)

    def below(command: Any, context: click.Context, name: str) -> Iterator[tuple[str, str]]:
        yield name, f"{command.help or ''}\n{command.get_help(context)}"
        if hasattr(command, "list_commands"):
            for each in command.list_commands(context):
                inner = command.get_command(context, each)
                inside = click.Context(inner, info_name=each, parent=context)
                yield from below(inner, inside, f"{name} {each}")

    yield from below(root, click.Context(root, info_name="curewatch"), "curewatch")


def texts() -> Iterator[tuple[str, str]]:
    """Whatever a person or another program reads, by where it is."""
    yield from pages()
    yield from ((f"schema {name}", catalogue.schema(name)) for name in catalogue.names())
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "firmware_notes").rglob("*.*"))):
        yield path.name, path.read_text(encoding="utf-8")
    for path in sorted(CODE.rglob("*.toml")):
        yield path.name, path.read_text(encoding="utf-8")


def found(said: str) -> list[str]:
    """The words of the table that a text has, but for those that may stay."""
    left = []
    for word, (_, allowed) in LOST.items():
        rest = said
        for piece in allowed:
            rest = rest.replace(piece, "")
        left += [each[0] for each in re.finditer(word, rest)]
    return left


def identifiers(source: str) -> Iterator[str]:
    """Public names that a module binds: classes, functions, arguments and fields."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            yield node.target.id


def lost(source: str) -> set[str]:
    """Public names of a module that lost; only one whose text has such a word is taken apart."""
    return NAMES & set(identifiers(source)) if NAMES & set(re.findall(r"\w+", source)) else set()


def test_only_the_whole_program_offers_completion() -> None:
    """A command that offered it, too, would be completed under a name that is no program."""
    assert [where for where, said in pages() if "--completion" in said] == ["curewatch"]


def test_no_text_has_a_word_that_lost() -> None:
    """Help pages, schemas, terms, resins, the example configuration and every document."""
    read = list(texts())
    assert sum(where.startswith("curewatch") for where, _ in read) > 40
    assert {where: words for where, said in read if (words := found(said))} == {}


def test_no_public_name_has_lost() -> None:
    """Classes, functions, arguments and fields."""
    assert lost("class Layup: pass") == {"Layup"}
    assert lost("def told(hard: float) -> None: pass") == {"hard"}
    assert not lost("said = 'hard'")
    sources = {str(path): path.read_text(encoding="utf-8") for path in CODE.rglob("*.py")}
    assert {name: words for name, source in sources.items() if (words := lost(source))} == {}


@pytest.mark.parametrize(
    "said",
    ["the bond window", "it stays put", "curewatch saw gelled", "--out FILE", "not held", "a catalyst"],
)
def test_a_word_put_back_is_found(said: str) -> None:
    """The table itself: a defect put back into any text is found."""
    assert found(said)


def test_every_exception_is_still_needed() -> None:
    """A text that may keep a word has it."""
    whole = "\n".join(said for _, said in texts())
    for _, allowed in LOST.values():
        assert all(piece in whole for piece in allowed)


def test_a_term_is_looked_up_by_its_own_words() -> None:
    """A secondary bond is the one to a cured face; wax belongs to polyester."""
    terms = tomllib.loads((CODE / "cli" / "terms.toml").read_text(encoding="utf-8"))
    leads = {word: name for name, term in terms.items() for word in term["also"]}
    assert (leads["secondary bond"], leads["wax"]) == ("wash and abrade", "polyester")
