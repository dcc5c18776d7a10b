"""A term of the trade as lines of text, and the list of terms."""

from curewatch.answers.document import code, spoken
from curewatch.answers.explain import TermDocument, TermListDocument
from curewatch.cli.screens.lines import paragraph
from curewatch.wording import Wording

WIDTH = 78


def term_lines(term: TermDocument, words: Wording) -> list[str]:
    """The term, its sentences with the caution last, its source, and where to go on."""
    said = words.retold(" ".join((*term.says, term.caution)))
    source = words.retold(f"Source ({_tags(term.tag)}): {term.source}.")
    return [
        term.term,
        "",
        *paragraph(said, WIDTH),
        "",
        *paragraph(source, WIDTH, subsequent_indent="  "),
        f"See also: {', '.join(term.see)}.",
        f"Try: {term.try_}",
    ]


def list_lines(listed: TermListDocument) -> list[str]:
    names = paragraph(", ".join(listed.terms), WIDTH, initial_indent="  ", subsequent_indent="  ")
    return ["Terms:", *names, "One of them: curewatch explain pot life"]


def _tags(tag: str) -> str:
    """The kinds of the source as people say them, each once."""
    return ", ".join(dict.fromkeys(spoken(code(each)) for each in tag.split(", ")))
