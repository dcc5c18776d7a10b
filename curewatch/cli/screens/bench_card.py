"""The bench card: one page to pin up beside the work, as text or as a page that any browser prints.

No script, nothing fetched. Everything that came from outside is escaped.
"""

import math
from html import escape

from curewatch.answers.document import moment
from curewatch.answers.layup import LayupDocument, LayupSessionDocument
from curewatch.cli.screens import layup, section
from curewatch.units import DAY
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


def text(plan: LayupDocument, wording: Wording, place: str) -> str:
    """The card as plain text."""
    return "\n".join([f"{place}   {_written(plan, wording)}", *layup.lines(plan, wording, why=True)]) + "\n"


def html(plan: LayupDocument, wording: Wording, place: str) -> str:
    """The card as one self-contained page."""
    rows = "\n".join(_row(session, wording, moment(plan.at)) for session in _sessions(plan))
    takes = "<br>".join(escape(line.strip()) for line in layup.takes(plan, wording)[1:])
    minded = " ".join([*layup.below(plan), *layup.minded(plan, wording)])
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Bench card</title><style>{STYLE}</style></head>
<body style="font-size: {_size(plan):.1f}pt">
<p class="small">{escape(place)}, written {escape(_written(plan, wording))}. A plan, not a record.</p>
<h1>{escape(layup.answer(plan, wording))}</h1>
<p>{escape(plan.caution_brief)}</p>
{section.svg(plan)}
<h2>Materials</h2><p>{takes}</p>
<h2>Sessions</h2>
<table><tr><th>when</th><th>layers</th><th>batches</th><th>scale: resin, then in all</th>
<th>spread within</th><th>next layer</th><th class="tick">done</th></tr>
{rows}</table>
<h2>Layers, smallest first</h2><p>{escape(_cuts(plan))}</p>
<h2>Cautions</h2><p class="small">{escape(minded)}</p>
</body></html>
"""


def _written(plan: LayupDocument, wording: Wording) -> str:
    """When, with its year."""
    now = moment(plan.at)
    return wording.moment(now, now - 400 * DAY)


def _sessions(plan: LayupDocument) -> list[LayupSessionDocument]:
    return [] if plan.schedule is None else plan.schedule.sessions


def _size(plan: LayupDocument) -> float:
    """Type in which the card stays one page: for the cautions, the layers and the sessions. [pt]"""
    lines = MINDED + 1.2 * len(plan.layers) + 5.0 * len(_sessions(plan))
    return min(LARGEST, max(SMALLEST, LARGEST * math.sqrt(ROOM / max(lines, 1.0))))


def _row(session: LayupSessionDocument, wording: Wording, now: float) -> str:
    batches, say = session.batches, wording.stated
    layers = f"{session.layers[0]} to {session.layers[-1]}, {session.side}"
    batch = say(session.batch_mass_g, "g")
    bears = f"({say(session.scale_lowest_g, 'g')} to {say(session.scale_highest_g, 'g')})"
    opens, closes = (wording.moment(moment(each), now) for each in (session.next_from, session.next_before))
    last = "" if session.last_batch_g is None else f", {say(session.last_batch_g, 'g')}"
    rest = "" if not last else f"; last {say(session.last_resin_g, 'g')}, {say(session.last_batch_g, 'g')}"
    remark = f"; {session.remark}" if session.remark and session.next_before else ""
    cells = [
        layup.when(session, wording, now),
        f"{layers}; bond {session.bond_text}",
        "-" if batches is None else f"{layup.full_batches(session)} x {batch}{last}",
        "-" if batches is None else f"{say(session.resin_g, 'g')}, {batch} {bears}{rest}",
        "-" if session.use_within_min is None else f"{session.use_within_min:.0f} min",
        f"{opens} to {closes}{remark}",
        "",
    ]
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _cuts(plan: LayupDocument) -> str:
    return "; ".join(
        f"{layer.number} {layer.side}: {layer.length_mm:.0f} x {layer.width_mm:.0f} mm"
        for layer in plan.layers
    )
