"""Running layers as lines of text: what was laid, where it stands, and what will become of it."""

import math

from curewatch.answers.deadlines import named, own_heat, remark, unmeasured, unsure_window
from curewatch.answers.document import moment, spoken
from curewatch.answers.layer import LayerDocument, RunningLayerDocument
from curewatch.cli.screens.lines import paragraph
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording, dosed, duration

WIDTH, INSIDE = 80, " " * 8
UNTOLD = 6 * HOUR  # after which a pot that nobody told empty is no longer spoken of; its alarm has rung [s]


def lines(document: LayerDocument, words: Wording, now: float) -> list[str]:
    """One line a layer, then what will become of it and when."""
    said = []
    for each in document.running:
        said.append(safe_line(f"{_laid(each, words, now)}: {stage(each)}"))
        said += _pot(each, words, now)
        said += _wrapped(own_heat(each, words))
        said += _below(each)
        said += [f"    probe {safe_line(probe.sensor)}: {safe_line(probe.text)}" for probe in each.probes]
        said += [f"    {told}" for told in (unmeasured(each), unsure_window(each, now)) if told]
        for coming in each.timeline:
            early, likely, late = moment(coming.early), moment(coming.likely), moment(coming.late)
            when = words.moment(likely, now) if likely else "not in the coming hours"
            band = f" ({words.band(early, late, now)})" if early and late else ""
            said.append(f"    {safe_line(coming.title):<28} {when}{band}")
            said += paragraph(
                safe_line(remark(coming, now)), WIDTH, initial_indent=INSIDE, subsequent_indent=INSIDE
            )
    worked_out = utc_from_iso(document.as_of)
    if said and now - worked_out >= MINUTE:
        said.append(f"as of {words.moment(worked_out, now)}, the last look")
    return said or ["no layer is running"]


def _pot(layer: RunningLayerDocument, words: Wording, now: float) -> list[str]:
    """Until when what is left in its cup must be out of it."""
    until = moment(layer.pot_use_until)
    if until is None or now > until + UNTOLD:
        return []
    told = f"WARNING: A full cup burns: its pot must be empty by {words.foreseen(until, now, math.floor)}"
    return _wrapped(f"{told}. Tell it: curewatch job pot-empty --layer {safe_line(layer.layer)}")


def _below(layer: RunningLayerDocument) -> list[str]:
    """What its face asks for, and that nobody measured it."""
    if layer.below is None:
        return []
    mark = {"fails": "NO-GO: ", "unknown": "UNKNOWN: "}.get(layer.below.status, "")
    told = ". ".join((*layer.below.remarks, *layer.below.remedies))
    return _wrapped(safe_line(f"{mark}{told}", 400) if told else "")


def _wrapped(said: str) -> list[str]:
    """A sentence below its layer; nothing of an empty one."""
    return paragraph(f"{said}.", WIDTH, initial_indent="    ", subsequent_indent=INSIDE) if said else []


def stage(layer: RunningLayerDocument) -> str:
    """Where it stands, or why that is unknown."""
    return layer.reason if layer.stage is None else spoken(layer.stage)


def _laid(layer: RunningLayerDocument, words: Wording, now: float) -> str:
    parts, started = [named(layer), layer.resin], utc_from_iso(layer.started)
    if layer.batch_mass_g is not None:
        parts.append(words.stated(layer.batch_mass_g, "g"))
    parts += filter(None, [dosed(layer.peroxide_percent, assumed=layer.peroxide_assumed)])
    afterwards = " (told afterwards)" if layer.given_afterwards else ""
    since = f"mixed {words.moment(started, now)}, {duration(now - started)} ago{afterwards}"
    return ", ".join([*parts, since, *filter(None, [layer.note])])
