"""Letters five rows high, for reading from two metres with gloves on.

Upright strokes are two columns wide and level ones one row high, so that both look equally thick in
a terminal's tall cells. Drawn for the few characters the board needs.
"""

_DRAWN = {
    "G": (" █████", "██    ", "██ ███", "██  ██", " █████"),
    "O": (" ████ ", "██  ██", "██  ██", "██  ██", " ████ "),
    "N": ("██  ██", "███ ██", "██████", "██ ███", "██  ██"),
    "U": ("██  ██", "██  ██", "██  ██", "██  ██", " ████ "),
    "K": ("██  ██", "██ ██ ", "████  ", "██ ██ ", "██  ██"),
    "W": ("██    ██", "██ ██ ██", "██ ██ ██", "████████", " ██  ██ "),
    "-": ("    ", "    ", "████", "    ", "    "),
    ":": ("  ", "██", "  ", "██", "  "),
    "0": (" ████ ", "██  ██", "██  ██", "██  ██", " ████ "),
    "1": ("  ██  ", "████  ", "  ██  ", "  ██  ", "██████"),
    "2": ("█████ ", "    ██", " ████ ", "██    ", "██████"),
    "3": ("█████ ", "    ██", "  ███ ", "    ██", "█████ "),
    "4": ("██  ██", "██  ██", "██████", "    ██", "    ██"),
    "5": ("██████", "██    ", "█████ ", "    ██", "█████ "),
    "6": (" ████ ", "██    ", "█████ ", "██  ██", " ████ "),
    "7": ("██████", "    ██", "   ██ ", "  ██  ", "  ██  "),
    "8": (" ████ ", "██  ██", " ████ ", "██  ██", " ████ "),
    "9": (" ████ ", "██  ██", " █████", "    ██", " ████ "),
}


def large(text: str, ink: str = "█") -> tuple[str, ...]:
    """The text as five rows, drawn with ``ink``; a ``KeyError`` for what is not drawn."""
    rows = zip(*(_DRAWN[character] for character in text.upper()), strict=True)
    return tuple(" ".join(row).replace("█", ink) for row in rows)


def large_width(text: str) -> int:
    """Columns that :func:`large` of this text takes."""
    return sum(len(_DRAWN[character][0]) for character in text.upper()) + max(0, len(text) - 1)
