"""What an observation taught: expected and observed, the lot before and after, which one moved it. Pure."""

from typing import Any

from curewatch.cli.safe_text import safe_line
from curewatch.model.film.lots import rate_factor_at
from curewatch.model.fit.learning import NINE_IN_TEN, Lesson
from curewatch.wording import duration


def not_expected(what: str, lesson: Lesson) -> str:
    """One sentence: what was said, and what 99 of 100 lots would show."""
    early, late = (duration(each) for each in lesson.believed_band)
    told = duration(lesson.evidence.elapsed)
    return f"{safe_line(what)}: found {told} after mixing, expected {early} to {late} (99 in 100)."


def lines(what: str, found: tuple[Lesson, ...], layer: str) -> list[str]:
    """The last observation in words, then each that moved the lot or this layer."""
    last = found[-1]
    low, high = last.expected_band
    elapsed, expected = duration(last.evidence.elapsed), duration(last.expected)
    before, after = _spread(last.spread_before), _spread(last.spread_after)
    said = [
        f"{safe_line(what)}: {elapsed} after mixing",
        f"  expected {expected}, nine of ten {duration(low)} .. {duration(high)}",
    ]
    if last.contradicts:
        said += [
            f"  ! Not expected. It moves {'this layer a little, and no other' if layer else 'no time'}.",
            "    `--undo` takes it back.",
        ]
    else:
        said.append(f"  {_moved(last)}; such a time is now known to {after}, before to {before}")
    return [*said, "", *history(found, layer)]


def history(found: tuple[Lesson, ...], layer: str) -> list[str]:
    """Which observation made which version; which of another layer is not used."""
    if not found:
        return ["  nothing was learnt of this lot: it is taken as its sheet says"]
    rows = [f"  {safe_line(found[0].before.name, 30)}, as this lot has shown itself:"]
    for each in found:
        entry = f"entry {each.evidence.number}" if each.evidence.number else "just now"
        observed = f"{each.evidence.observed} ({entry})"
        alone = f" for {safe_line(layer)} alone" if each.contradicts else ""
        if each.counts_for(layer):
            rows.append(f"    version {each.after.version}{alone}: {observed}, {_moved(each)}")
        else:
            rows.append(f"    not used: {observed} was not expected")
    return rows


def as_plain(found: tuple[Lesson, ...], layer: str) -> list[dict[str, Any]]:
    """The same for ``--json``; times in seconds, spreads of natural logarithms."""
    return [
        {
            "observed": each.evidence.observed,
            "entry": each.evidence.number or None,
            "elapsed_s": round(each.evidence.elapsed, 1),
            "expected_s": round(each.expected, 1),
            "expected_early_s": round(each.expected_band[0], 1),
            "expected_late_s": round(each.expected_band[1], 1),
            "contradicts": each.contradicts,
            "used": each.counts_for(layer),
            "rate_factor": round(each.factor, 4),
            "spread_before": round(each.spread_before, 4),
            "spread_after": round(each.spread_after, 4),
            "rate_sd": round(each.after.rate_sd, 4),
            "resin": each.after.name,
            "version": each.after.version,
            "parent": each.after.parent,
            "fast_lot": round(rate_factor_at(each.after, 0.95), 4),
        }
        for each in found
    ]


def _moved(each: Lesson) -> str:
    change = 100.0 * (each.factor - 1.0)
    if abs(change) < 1.0:
        return "as fast as it was taken for"
    return f"{abs(change):.0f} % {'faster' if change > 0 else 'slower'} than it was taken for"


def _spread(sd: float) -> str:
    return f"± {100.0 * NINE_IN_TEN * sd:.0f} %"
