"""The rendered texts are those of the kept documents, and keep the rules; a first screen has ten lines."""

from collections.abc import Iterator
from functools import cache

import pytest

from curewatch.cli.folding import GAP, joined
from tests.texts.rendering import HERE, first_screens, kept, outdated, rendered, stored
from tests.texts.situations import SITUATIONS, answers
from tests.texts.wording_rules import faults, long_sentences

ANEW = "run `python -m tests.texts` and read the diff"


@cache
def texts() -> dict[str, list[str]]:
    """The texts by name of document, rendered once."""
    return rendered(kept())


def test_the_texts_read_as_kept() -> None:
    """Rendered from the documents; each stands in its file, word by word."""
    there = {path.stem: path.read_text("utf-8") for path in (HERE / "rendered").glob("*.txt")}
    assert sum(map(len, texts().values())) > 150 or outdated()
    other = [text for name, every in texts().items() for text in every if text not in there.get(name, "")]
    assert not other, f"{ANEW}\n{other[0]}"


@pytest.mark.long
def test_every_kept_document_has_the_shape_of_today() -> None:
    """One that has not is left out of the other tests here."""
    assert not outdated(), f"run `python -m tests.texts --anew` and read the diff: {outdated()}"


def prose() -> Iterator[tuple[str, str]]:
    """Every paragraph and every row of every text, with where it stands."""
    for name, every in texts().items():
        for each in every:
            place, *lines = each.split("\n")
            rows = lines if name == "watch" else joined(lines)  # a board has rows, no paragraphs
            yield from ((f"{name} {place}", line) for line in rows)


@pytest.mark.long
def test_no_text_breaks_a_rule() -> None:
    """Banned words, the name table, spaces before units, minus signs, sentences of 20 words."""
    wrong = [f"{place}: {fault}" for place, line in prose() for fault in faults(line)]
    wrong += [
        f"{place}: long: {sentence}"
        for place, line in prose()
        if not GAP.search(line.strip())  # no row of a table
        for sentence in long_sentences(line.strip())
        if sentence.count(",") < 10  # no list of names
    ]
    assert not wrong, "\n".join(dict.fromkeys(wrong))


def test_every_first_screen_has_ten_lines_at_most() -> None:
    """In each situation and each set of units; nothing is wider than 80 columns."""
    screens = list(first_screens(kept()))
    assert len(screens) > 80 or outdated()
    assert not [place for place, lines in screens if len(lines) > 10]
    assert not [place for place, lines in screens if max(map(len, lines)) > 80]


def test_a_first_screen_that_proposes_work_has_its_caution() -> None:
    """Whole, and before the step; a go and a heating both have one."""
    seen = set()
    for situation, answered in kept().items():
        for one in answered:
            if one.name == "tonight" and one.answer.step_caution is not None:
                lines = next(
                    lines for place, lines in first_screens({situation: [one]}) if place.startswith(situation)
                )
                text = " ".join(" ".join(lines).split())
                step = min(text.find(word) for word in ("Do now", "One of these") if word in text)
                assert 0 < text.index(one.answer.step_caution.text) < step, (situation, one.typed)
                seen.add(one.answer.verdict)
    assert seen == {"go", "no-go"} or outdated()  # a long test finds those


@pytest.mark.long
@pytest.mark.parametrize("name", SITUATIONS)
def test_the_product_says_what_is_kept(name: str) -> None:
    """The sentences of every answer, numbers left open, as the commands give them today."""
    now = {each.typed: sentences(each.answer) for each in answers(SITUATIONS[name])}
    before = {each.typed: sentences(each.answer) for each in stored()[name]}
    assert now == before, "run `python -m tests.texts --anew` and read the diff"


def sentences(answer: object) -> list[str]:
    """Every sentence in a document, in its order."""
    if isinstance(answer, dict):
        if "words" in answer and "numbers" in answer:
            return [str(answer["words"])]
        return [said for each in answer.values() for said in sentences(each)]
    if isinstance(answer, list):
        return [said for each in answer for said in sentences(each)]
    return []
