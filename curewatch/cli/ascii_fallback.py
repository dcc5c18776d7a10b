"""Where a terminal knows no more than ASCII, signs become letters that mean the same, and never wider ones.

Registered as an error handler of the output streams: it is asked only for what cannot be encoded.
"""

import codecs

NAME = "curewatch-ascii"
MEANING = {
    "°": "",  # "9.4 C": nothing rather than three letters, so that no row outgrows its terminal
    "±": "~",
    "×": "x",
    "·": ".",
    "˙": "'",
    "…": "~",
    "–": "-",
    "−": "-",
    "≤": "<",
    "≥": ">",
    "→": ">",
    "█": "#",
    "▒": "%",
    "░": ":",
    "▔": '"',
    "─": "-",
    "▁": "_",
    "┊": "|",
    "│": "|",
    "├": "[",
    "┤": "]",
    "²": "2",
    "³": "3",
    "▸": ">",
    "┌": "+",
    "┐": "+",
    "└": "+",
    "┘": "+",
}


def meaning(trouble: UnicodeError) -> tuple[str, int]:
    """What stands in for the characters that could not be encoded, and where to go on."""
    if not isinstance(trouble, UnicodeEncodeError):
        raise trouble
    missing = trouble.object[trouble.start : trouble.end]
    return "".join(MEANING.get(character, "?") for character in missing), trouble.end


def register() -> str:
    """Make the handler known; its name."""
    codecs.register_error(NAME, meaning)
    return NAME
