"""What an observation taught: expected and observed, the lot before and after, which one moved it. Pure."""

from curewatch.answers.document import spoken
from curewatch.answers.observe import ObservationDocument, ObserveDocument
from curewatch.safe_text import safe_line
from curewatch.wording import duration


def not_expected(what: str, seen: ObservationDocument) -> str:
    """One sentence: what was said, and what 99 of 100 lots would show."""
    early, late, told = (
        duration(each) for each in (seen.possible_early_s, seen.possible_late_s, seen.elapsed_s)
    )
    return f"{safe_line(what)}: found {told} after mixing, expected {early} to {late} (99 in 100)."


def lines(what: str, found: ObserveDocument) -> list[str]:
    """The last observation in words, then each that moved the lot or this layer."""
    last, layer = found.observations[-1], found.layer
    low, high = duration(last.expected_early_s), duration(last.expected_late_s)
    said = [
        f"{safe_line(what)}: {duration(last.elapsed_s)} after mixing",
        f"  expected {duration(last.expected_s)}, 8 in 10 {low} .. {high}",
    ]
    if last.contradicts:
        said += [
            f"  ! Not expected. It moves {'this layer a little, and no other' if layer else 'no time'}.",
            *(["    The ranges told of this resin are wider now."] if layer else []),
            "    `--undo` takes it back.",
        ]
    else:
        before, after = (
            f"± {each:.0f} %" for each in (last.uncertainty_before_percent, last.uncertainty_after_percent)
        )
        said.append(f"  {_moved(last)}; such a time is now known to {after}, before to {before}")
    if last.together:
        said.append(f"  Not expected, but as {_with(last)}: three alike are believed of the lot.")
    return [*said, "", *history(found)]


def history(found: ObserveDocument) -> list[str]:
    """Which observation made which version; which of another layer is not used; the lot."""
    named = f"    lot {safe_line(found.lot)}" if found.lot else ""
    lot = named or "    no lot named: `layer --lot` or [resin] lot keeps lots apart"
    if not found.observations:
        return ["  nothing was learnt of this lot: it is taken as its sheet states", lot]
    rows = [f"  {safe_line(found.resin, 30)}, as this lot has shown itself:"]
    taken = {entry for each in found.observations for entry in each.together}
    for each in found.observations:
        entry = f"entry {each.entry}" if each.entry is not None else "just now"
        observed = f"{_named(each.observed)} ({entry})"
        alone = f" for {safe_line(found.layer)} alone" if each.contradicts else ""
        if each.entry in taken:
            rows.append(f"    learnt with a later one: {observed} was not expected")
        elif each.used:
            others = f", with {_with(each)}" if each.together else ""
            rows.append(f"    version {each.version}{alone}: {observed}, {_moved(each)}{others}")
        else:
            rows.append(f"    not used: {observed} was not expected")
    return [*rows, lot]


def _named(observed: str) -> str:
    """As a person says it; tack-free keeps its hyphen."""
    return spoken(observed) if observed == "test-cup" else observed


def _with(each: ObservationDocument) -> str:
    return f"entries {', '.join(map(str, each.together))}"


def _moved(each: ObservationDocument) -> str:
    change = 100.0 * (each.rate_factor - 1.0)
    if abs(change) < 1.0:
        return "as fast as it was taken for"
    return f"{abs(change):.0f} % {'faster' if change > 0 else 'slower'} than it was taken for"
