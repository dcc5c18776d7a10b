"""The terms that `curewatch explain` tells."""

import json
import re

import pytest

from curewatch.cli.commands.explain import find, terms
from curewatch.cli.main import run
from curewatch.errors import UsageError

KNOWN = terms()


@pytest.mark.parametrize("name", KNOWN)
def test_a_term_is_four_sentences_with_a_source(name: str) -> None:
    """Three sentences and a caution, each one sentence; a source, its tag, terms to read next that exist."""
    term = KNOWN[name]
    assert len(term.says) == 3
    for sentence in (*term.says, term.caution):
        assert sentence.endswith(".")
        assert not re.search(r"[.!?] [A-Z]", sentence)
    assert set(term.see) <= set(KNOWN)
    assert term.source
    allowed = {"published", "open data", "computed", "common practice", "from memory", "our own"}
    assert set(term.tag.split(", ")) <= allowed
    assert term.try_.startswith("curewatch ")


def test_no_word_leads_to_two_terms() -> None:
    """Another word for a term belongs to that term alone."""
    words = [word for term in KNOWN.values() for word in (term.term, *term.also)]
    assert sorted(words) == sorted(set(words))


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("Pot Life", "pot life"),
        ("amine blush", "blush"),
        ("tack free", "tack-free"),
        ("no-go", "go"),
        ("TG", "glass transition"),
        ("recoat window", "recoat window"),
        ("post cure", "post-cure"),
    ],
)
def test_a_term_is_found_by_the_words_people_use(asked: str, name: str) -> None:
    """Case, hyphens and the trade's other words lead to the same place."""
    assert find(asked, KNOWN).term == name


def test_a_mistyped_term_is_told_the_nearest() -> None:
    """And one that is near to nothing is told where the list is."""
    with pytest.raises(UsageError, match="did you mean 'vitrification'"):
        find("vitrifcation", KNOWN)
    with pytest.raises(UsageError, match="lists the terms"):
        find("zzz", KNOWN)


def test_the_command_tells_and_lists(capsys: pytest.CaptureFixture[str]) -> None:
    """Text of at most 80 columns, the same as JSON, and the list without a term."""
    with pytest.raises(SystemExit) as stop:
        run(["explain", "pot", "life"])
    assert stop.value.code == 0
    told = capsys.readouterr().out
    assert told.startswith("pot life\n")
    assert max(map(len, told.splitlines())) <= 80
    with pytest.raises(SystemExit):
        run(["explain", "blush", "--json"])
    assert json.loads(capsys.readouterr().out)["term"] == "blush"
    with pytest.raises(SystemExit):
        run(["explain"])
    assert "recoat window" in capsys.readouterr().out
