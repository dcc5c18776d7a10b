"""Blush foreseen for a film in air of this humidity, and what it does to the recoat window. Pure."""

import math
from textwrap import wrap
from typing import Any

import numpy as np

from curewatch.model.film.blush import Blush
from curewatch.model.film.recoat_window import RecoatWindow
from curewatch.wording import duration

WIDTH = 78
ADVICE = {
    "none": "no amine blush foreseen",
    "peel ply": "peel ply needed: amine blush is foreseen",
    "wash and abrade": "wash and abrade needed, or peel ply: much amine blush is foreseen",
}


def lines(found: Blush, bond: RecoatWindow) -> list[str]:
    """The class first, then why, then when the window closes with it."""
    worst = "" if found.worst == found.outcome else f" (the slowest lots: {found.worst})"
    text = f"{ADVICE[found.outcome]}{worst}. Why: {found.why}. Classes are ours; the maker's word goes first."
    water = ["  ! water condenses on the uncured film: no-go"] if found.no_go else []
    closes = np.atleast_1d(bond.closes)
    reached = closes[np.isfinite(closes)]
    if bond.cause == "blush" and reached.size:
        text += (
            f" Laminate again within {duration(float(np.quantile(reached, 0.05)))}; later {bond.afterwards}."
        )
    return [*wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  "), *water]


def as_plain(found: Blush, bond: RecoatWindow) -> dict[str, Any]:
    """The same for ``--json``: the class is the answer, the exposure its ground."""
    closes = np.atleast_1d(bond.closes)
    early = float(np.quantile(np.nan_to_num(closes, nan=np.inf), 0.05, method="lower"))
    return {
        "outcome": found.outcome,
        "worst": found.worst,
        "why": found.why,
        "condensed_share": round(found.condensed, 3),
        "exposure_s": {name: round(float(value)) for name, value in found.band._asdict().items()},
        "bond_closes_early_s": round(early) if math.isfinite(early) else None,
        "bond_cause": bond.cause,
    }
