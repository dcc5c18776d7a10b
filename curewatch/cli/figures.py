"""A film's cure as a picture file, SVG or PNG. matplotlib is imported here and nowhere else for it."""

import math
from pathlib import Path

from curewatch.errors import UsageError, reason
from curewatch.extras import require
from curewatch.model.film.milestones import thresholds
from curewatch.model.film.outcome import FilmOutcome
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

FORMATS = (".svg", ".png")


def draw(said: FilmOutcome, path: Path, words: Wording) -> None:
    """Write conversion and glass transition against time, with their bands.

    Raises
    ------
    UsageError
        The name does not end in .svg or .png, or the file cannot be written.
    """
    if path.suffix.lower() not in FORMATS:
        raise UsageError(f"--chart: found {str(path)!r}. Use a name that ends in {' or '.join(FORMATS)}")
    figures = require("matplotlib.figure", "charts", "--chart")
    matplotlib = require("matplotlib", "charts", "--chart")

    with matplotlib.rc_context({"svg.hashsalt": "curewatch", "svg.fonttype": "none"}):
        figure = figures.Figure(figsize=(8.0, 5.6), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True)
        read = words.temperatures
        curves, hours = said.envelope, said.envelope.time / 3600.0
        upper.fill_between(
            hours, curves.conversion.early, curves.conversion.late, alpha=0.25, label="8 in 10 lots"
        )
        upper.plot(hours, curves.conversion.likely, label="likely")
        upper.set_ylabel("conversion")
        upper.set_ylim(0.0, 1.0)
        for name, threshold, side in _levels(said):
            upper.axhline(threshold, linewidth=0.7, linestyle=":")
            upper.annotate(name, (hours[-1], threshold), ha="right", va=side, fontsize=8)
        transition = curves.glass_transition
        lower.fill_between(hours, read(transition.early), read(transition.late), alpha=0.25)
        lower.plot(hours, read(transition.likely), label="glass transition")
        lower.plot(hours, read(curves.temperature), linestyle="--", label="temperature of the film")
        lower.set_ylabel(words.temperature_unit)
        lower.set_xlabel("hours from mixing")
        upper.legend(loc="lower right")
        lower.legend(loc="lower right")
        figure.suptitle(f"{safe_line(said.resin.title, 60)} ({safe_line(said.resin.note, 60)})", fontsize=10)
        try:
            figure.savefig(path, metadata={"Date": None} if path.suffix.lower() == ".svg" else None)
        except OSError as trouble:
            raise UsageError(f"--chart {path}: {reason(trouble)}") from None


def _levels(said: FilmOutcome) -> list[tuple[str, float, str]]:
    """Names, conversions and sides of the marks that are drawn."""
    marks = thresholds(said.resin)
    drawn = [("gels", marks["gel"], "top"), ("tack-free", marks["tack_free"], "bottom")]
    return [level for level in drawn if not math.isnan(level[1])]
