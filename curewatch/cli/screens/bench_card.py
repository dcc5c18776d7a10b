"""The bench card: one page to pin up beside the work, as text or as a page that any browser prints.

No script, nothing fetched. Everything that came from outside is escaped.
"""

import math
from html import escape

from curewatch.advice.plan.layup import LayupPlan
from curewatch.cli.screens import layup, section
from curewatch.model.film.recoat_window import closes_earlier
from curewatch.wording import Wording

LARGEST, SMALLEST = 12.0, 6.5  # pt
MINDED = 14.0  # lines that the cautions take (tried by printing)
ROOM = 24.0  # lines of layers and sessions that stand in the largest type (tried by printing)
STYLE = """
@page { size: A4; margin: 14mm }
body { font: 12pt/1.35 sans-serif; color: #111; max-width: 182mm; margin: 0 auto }
h1 { font-size: 1.7em; margin: 0 0 2mm } h2 { font-size: 1.1em; margin: 0.9em 0 1mm }
table { border-collapse: collapse; width: 100% }
td, th { border: 0.3mm solid #777; padding: 1.2mm 2mm; text-align: left }
.tick { width: 14mm } .small { font-size: 0.75em } p { margin: 0.4em 0 }
"""


def text(plan: LayupPlan, wording: Wording, now: float, scale_step: float, place: str) -> str:
    """The card as plain text."""
    head = f"{place}   {wording.moment(now, now - 86400 * 400)}"
    return "\n".join([head, *layup.lines(plan, wording, now, scale_step)]) + "\n"


def html(plan: LayupPlan, wording: Wording, now: float, scale_step: float, place: str) -> str:
    """The card as one self-contained page."""
    sessions = () if plan.schedule is None else plan.schedule.sessions
    rows = "\n".join(_row(plan, number, wording, now) for number in range(1, len(sessions) + 1))
    takes = "<br>".join(escape(line.strip()) for line in layup.takes(plan, wording)[1:])
    written = wording.moment(now, now - 86400 * 400)
    minded = " ".join(layup.minded(plan, wording))
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Bench card</title><style>{STYLE}</style></head>
<body style="font-size: {_size(plan):.1f}pt">
<p class="small">{escape(place)}, written {escape(written)}. A plan, not a record.</p>
<h1>{escape(layup.answer(plan, wording, now))}</h1>
<h2>Cautions</h2><p class="small">{escape(minded)}</p>
{section.svg(plan.amounts.taper)}
<h2>What it takes</h2><p>{takes}</p>
<h2>Sessions</h2>
<table><tr><th>when</th><th>layers</th><th>batches</th><th>scale: resin, then in all</th>
<th>spread within</th><th>next layer</th><th class="tick">done</th></tr>
{rows}</table>
<h2>Layers, smallest first</h2><p>{escape(_cuts(plan))}</p>
</body></html>
"""


def _size(plan: LayupPlan) -> float:
    """Type in which the card stays one page: for the cautions, the layers and the sessions. [pt]"""
    sessions = 0 if plan.schedule is None else len(plan.schedule.sessions)
    lines = MINDED + 1.2 * len(plan.amounts.layers) + 5.0 * sessions
    return min(LARGEST, max(SMALLEST, LARGEST * math.sqrt(ROOM / max(lines, 1.0))))


def _row(plan: LayupPlan, number: int, wording: Wording, now: float) -> str:
    sessions = () if plan.schedule is None else plan.schedule.sessions
    session = sessions[number - 1]
    cup, batches = plan.cup(session), session.batches
    layers = f"{session.layers[0].number} to {session.layers[-1].number}, {session.layers[0].side}"
    thick = closes_earlier(len(session.layers) * plan.amounts.layer_thickness)
    cells = [
        wording.span(session.begin, session.end, now),
        f"{layers}; bond {session.bond}",
        "-" if batches is None else f"{batches.count} x {wording.mass(batches.mass)}",
        "-"
        if cup is None
        else f"{wording.mass(cup.resin)}, {wording.mass(cup.mass)} "
        f"({wording.mass(cup.scale_lowest)} to {wording.mass(cup.scale_highest)})",
        "-" if batches is None else f"{batches.share * batches.pot_life / 60:.0f} min",
        f"{wording.moment(session.next_from, now)} to {wording.moment(session.next_before, now)}"
        + (f"; {thick}" if thick and session.next_before else ""),
        "",
    ]
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _cuts(plan: LayupPlan) -> str:
    return "; ".join(
        f"{patch.number} {patch.side}: {patch.length * 1000:.0f} x {patch.width * 1000:.0f} mm"
        for patch in plan.amounts.layers
    )
