"""The page's script and the process behind it speak in typed documents; it takes all that they name."""

import re
from typing import get_args

import pytest

from curewatch.answers import page
from tests.documents import PACKAGE

SCRIPT = (PACKAGE / "curewatch" / "page" / "files" / "page.js").read_text("utf-8")
ANSWERS = (page.PageLookDocument, page.PageToldDocument, page.PageRejectedDocument)
PARTS = (page.PageJobDocument, page.PagePartDocument, page.PageQuestionDocument)
OWN = {"lost"}  # what the script itself says of an answer that did not come


def keys(*shapes: type) -> set[str]:
    return {key for shape in shapes for key in shape.__struct_fields__}  # type: ignore[attr-defined]


def taken(script: str) -> set[str]:
    """The keys of an answer that the script asks for; it takes an answer apart by its name alone."""
    assert not re.search(r"\banswer\[|=\s*answer\s*;|\}\s*=\s*answer\b", script)
    return set(re.findall(r"\banswer\.(\w+)", script)) - OWN


def test_the_script_takes_every_key_of_an_answer_and_no_other() -> None:
    """The control: a key that no document has."""
    assert taken(SCRIPT) == keys(*ANSWERS)
    assert taken(SCRIPT.replace("answer.reason", "answer.why")) - keys(*ANSWERS) == {"why"}


@pytest.mark.parametrize("shape", PARTS)
def test_no_key_of_a_part_is_left_unused(shape: type) -> None:
    """Jobs, parts and questions: what is sent every five seconds is shown."""
    assert all(re.search(rf"\.{key}\b", SCRIPT) for key in keys(shape))


def test_every_section_of_the_document_has_its_place_on_the_page() -> None:
    """The script's list is the document's, and the page has an element of each name."""
    listed = re.search(r"const sections = \[(.*?)\];", SCRIPT)
    assert listed is not None
    assert set(re.findall(r'"([a-z]+)"', listed[1])) == set(get_args(page.PageSection))
    html = (PACKAGE / "curewatch" / "page" / "files" / "page.html").read_text("utf-8")
    assert all(f'id="{name}"' in html for name in get_args(page.PageSection))
