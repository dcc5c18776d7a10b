"""How texts are written: the words that are not used, the length of a sentence, the space before a unit."""

import re
from collections.abc import Iterator

WORDS = 20  # that a sentence has at most
BANNED = re.compile(
    r"\b(paths|sigma|quantiles?|ensemble members?|likelihood|share of|says|hears|tells|knows|speaks|heard|"
    r"promoter|layups|peelply|second-hand|from memory|rehearse|kelvin)\b",
    re.IGNORECASE,
)
NAMES = {  # what something is not called: what it is called
    r"\bbond window\b": "recoat window",
    r"\bopen time\b": "working time",
    r"\bhardener\b(?=.{0,12}\bperoxide\b)": "peroxide",
    r"\bwarranty record\b": "cure record",
    r"\b(?:rung|stands) (?:since|until)\b": "raised, active",
    r"\bcatalyst\b": "peroxide",
    r"\bnot held\b|\bnot known to hold\b": "not met, cannot be shown",
}
UNIT = r"(?:°C|°F|kg|g|mm|ml|m²|min|h|%|K|W|kW|kWh|V|oz|ppm|hPa|Pa|W/m²|g/m²)"
GLUED = re.compile(rf"(?<![\w.,:+-])\d+(?:\.\d+)?{UNIT}(?![\w/])")
HYPHEN_SIGN = re.compile(rf"(?<![\w.)'\"–-])-\d+(?:\.\d+)? ?{UNIT}(?![\w/])")
END = re.compile(r"[.;:!?](?=\s|$)|\n|->|\|")
CODE = re.compile(
    r"`[^`]*`|\"[^\"]*\"|'[^' ]+ [^' ]+'|\S*@\S+|\b(?:12|24)h\b|\$\w+|--[\w-]+|"
    r"\S+\.(?:toml|py|md|csv|sqlite|sh|html|pdf)\b"
)


def faults(text: str) -> Iterator[str]:
    """What is wrong with a text, each with the words around it."""
    for name, found in _matches(text):
        begin, end = max(0, found.start() - 30), found.end() + 30
        yield f"{name}: {' '.join(text[begin:end].split())}"


def _matches(text: str) -> Iterator[tuple[str, re.Match[str]]]:
    prose = CODE.sub(lambda code: "x" * len(code[0]), text)
    for found in BANNED.finditer(prose):
        yield f"the word {found[0].lower()!r}", found
    for words, name in NAMES.items():
        for found in re.finditer(words, prose, re.IGNORECASE):
            yield f"{name!r} is its name, not {found[0].lower()!r}", found
    for found in GLUED.finditer(prose):
        yield "no space before the unit", found
    for found in HYPHEN_SIGN.finditer(prose):
        yield "a hyphen for a minus", found


def paragraphs(document: str) -> Iterator[str]:
    """The prose of a document: without code, tables and headings, a paragraph a line."""
    prose = re.sub(r"```.*?```", "", document, flags=re.DOTALL)
    for part in re.split(r"\n\s*\n|\n(?=[-*|#\d])", prose):
        if not part.startswith(("    ", "|", "#")):
            yield " ".join(part.split())


def long_sentences(prose: str) -> Iterator[str]:
    """Sentences of more than :data:`WORDS` words; lines of a paragraph are joined beforehand."""
    for sentence in END.split(prose):
        words = [word for word in sentence.split() if re.search(r"\w", word)]
        if len(words) > WORDS:
            yield " ".join(words)
