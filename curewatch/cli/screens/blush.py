"""Blush foreseen for a film in air of this humidity, and what it does to the recoat window. Pure."""

from textwrap import wrap

from curewatch.answers.cure import CureBlushDocument
from curewatch.answers.document import spoken
from curewatch.wording import duration

WIDTH = 78
ADVICE = {
    "none": "no amine blush foreseen",
    "peel-ply": "peel ply needed: amine blush is foreseen",
    "wash-and-abrade": "wash and abrade needed, or peel ply: much amine blush is foreseen",
}


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
    return [*wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  "), *water]
