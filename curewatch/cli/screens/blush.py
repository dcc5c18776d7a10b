"""Blush foreseen for a film in air of this humidity, and what it does to the recoat window. Pure."""

from curewatch.answers.cure import CureBlushDocument
from curewatch.answers.document import spoken
from curewatch.cli.screens.lines import wrapped
from curewatch.wording import duration

ADVICE = {
    "none": "no amine blush foreseen",
    "peel-ply": "peel ply needed: amine blush is foreseen",
    "wash-and-abrade": "wash and abrade needed, or peel ply: much amine blush is foreseen",
}


def line(found: CureBlushDocument) -> list[str]:
    """What blush asks for, in a line."""
    wet = " Water condenses on it: do not lay it." if found.water_condenses else ""
    return wrapped(f"{_capital(ADVICE[found.outcome])}.{wet}")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def lines(found: CureBlushDocument) -> list[str]:
    """The class first, then why, then when the window closes with it."""
    worst = "" if found.worst == found.outcome else f" (the slowest lots: {spoken(found.worst)})"
    text = (
        f"{ADVICE[found.outcome]}{worst}. Reason: {found.reason}. "
        "Classes are ours; the maker's word goes first."
    )
    water = ["  ! water condenses on the uncured film: no-go"] if found.water_condenses else []
    if found.recoat_cause == "blush" and found.recoat_before_s is not None:
        text += f" Laminate again within {duration(found.recoat_before_s)}; later {found.recoat_afterwards}."
    return [*wrapped(text, "  ", "  "), *water]
