"""The words of help, schemas, terms and documents: the name table, banned words, length, units."""

import ast
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from curewatch.answers import catalogue
from curewatch.cli.commands.explain import terms
from curewatch.cli.commands.manual import CAUTION, DESCRIPTION, EXIT_STATUSES, every_command
from tests.documents import PACKAGE, ROOT
from tests.texts.wording_rules import faults, long_sentences, paragraphs

SQL = re.compile(r"(SELECT|INSERT|UPDATE|CREATE|DELETE|WITH)\b")
FOR_CUSTOMERS = ("README.md", "firmware_notes/*.md", "recordings/README.md")


def helps() -> Iterator[tuple[str, str]]:
    """The prose of every help page, and the help of every option."""
    for name, command in every_command():
        for paragraph in (command.help or "").split("\n\n"):
            if not paragraph.startswith("Example:"):
                yield f"{name} --help", " ".join(paragraph.split())
        for each in command.params:
            yield f"{name} {each.name}", getattr(each, "help", None) or ""
    yield from (("manual", text) for text in (DESCRIPTION, CAUTION, *EXIT_STATUSES.values()))


def described(part: Any) -> Iterator[str]:
    """Every description within a schema."""
    if isinstance(part, dict):
        if isinstance(part.get("description"), str):
            yield part["description"]
        for each in part.values():
            yield from described(each)
    elif isinstance(part, list):
        for each in part:
            yield from described(each)


def texts() -> Iterator[tuple[str, str]]:
    """Everything short that a user meets outside of an answer."""
    yield from helps()
    for name in catalogue.names():
        yield from ((f"schema {name}", text) for text in described(json.loads(catalogue.schema(name))))
    for name, term in terms().items():
        yield from ((f"explain {name}", text) for text in (*term.says, term.caution, term.source))


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("holds on 59 % of the paths", "the word 'paths'"),
        ("it says no", "the word 'says'"),
        ("before the bond window ends", "'recoat window' is its name"),
        ("20°C in the shed", "no space before the unit"),
        ("it was -5 °C", "a hyphen for a minus"),
        ("pour 150g now", "no space before the unit"),
    ],
)
def test_the_rules_find_what_they_look_for(text: str, fault: str) -> None:
    """Each rule on a text that breaks it."""
    assert any(found.startswith(fault) for found in faults(text))


def test_a_sentence_of_twenty_words_is_short_enough() -> None:
    """One more is not."""
    assert not list(long_sentences(" ".join(["word"] * 20) + "."))
    assert list(long_sentences(" ".join(["word"] * 21) + "."))
    assert not list(faults("from `paths` at 20 °C, 10 to 12 mm, −5 °C; e.g. '350 g' or --units F,oz,12h"))


@pytest.mark.long
def test_help_schemas_and_terms_keep_the_rules() -> None:
    """Each text by its place."""
    wrong = [f"{place}: {fault}" for place, text in texts() for fault in faults(text)]
    wrong += [f"{place}: long: {one}" for place, text in texts() for one in long_sentences(text)]
    assert not wrong, "\n".join(wrong)


def test_the_documents_for_customers_keep_the_rules() -> None:
    """README, notes on boards, the recordings: words, and sentences of twenty words at most."""
    paths = [path for pattern in FOR_CUSTOMERS for path in sorted(ROOT.glob(pattern))]
    wrong = [
        f"{path.name}: {fault}"
        for path in paths
        for prose in paragraphs(re.sub(r"\]\([^)]*\)", "]", path.read_text("utf-8")))
        for fault in (*faults(prose), *long_sentences(prose))
    ]
    assert paths
    assert not wrong, "\n".join(wrong)


def test_the_first_documents_stay_short() -> None:
    """What a stranger reads first: the README in 9 kB, and for whoever carries this on 12 kB."""
    assert len((ROOT / "README.md").read_bytes()) <= 9_000
    assert len((ROOT / "DEVELOPERS.md").read_bytes()) <= 12_000


@pytest.mark.long
def test_no_sentence_that_the_program_writes_is_long() -> None:
    """Alerts, reasons, cautions, refusals, the record: every text in the source, and the control is found."""
    assert list(written(f"said = f'{{name}} {' word' * 21}'"))
    wrong = [
        f"{path.relative_to(PACKAGE)}: {long}"
        for path in sorted((PACKAGE / "curewatch").rglob("*.py"))
        for text in written(path.read_text("utf-8"))
        if not SQL.match(text.lstrip())
        for long in long_sentences(text)
    ]
    assert not wrong, "\n".join(wrong)


def written(source: str) -> Iterator[str]:
    """Every text of a module but docstrings; what an f-string puts in is one word."""
    tree = ast.parse(source)
    inside = {
        id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            inside.add(id(node.value))  # a docstring
        elif isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inside:
            yield node.value
