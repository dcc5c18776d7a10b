"""Running layers as lines of text: what was laid, where it stands, and what will become of it."""

from textwrap import wrap

from curewatch.answers.document import moment, spoken
from curewatch.answers.layer import LayerDocument, RunningLayerDocument
from curewatch.cli.safe_text import safe_line
from curewatch.clock import utc_from_iso
from curewatch.wording import Wording, dosed, duration

WIDTH, INSIDE = 80, " " * 8


def lines(document: LayerDocument, words: Wording, now: float) -> list[str]:
    """One line a layer, then what will become of it and when."""
    said = []
    for each in document.running:
        said.append(safe_line(f"{_laid(each, words, now)}: {stage(each)}"))
        for coming in each.timeline:
            early, likely, late = moment(coming.early), moment(coming.likely), moment(coming.late)
            when = words.moment(likely, now) if likely else "not in the coming hours"
            band = f" ({words.band(early, late, now)})" if early and late else ""
            said.append(f"    {safe_line(coming.title):<28} {when}{band}")
            said += wrap(safe_line(coming.note), WIDTH, initial_indent=INSIDE, subsequent_indent=INSIDE)
    return said or ["no layer is running"]


def stage(layer: RunningLayerDocument) -> str:
    """Where it stands, or why that is unknown."""
    return layer.reason if layer.stage is None else spoken(layer.stage)


def _laid(layer: RunningLayerDocument, words: Wording, now: float) -> str:
    parts, started = [layer.layer, layer.resin], utc_from_iso(layer.started)
    if layer.batch_mass_g is not None:
        parts.append(words.stated(layer.batch_mass_g, "g"))
    parts += filter(None, [dosed(layer.peroxide_percent, assumed=layer.peroxide_assumed)])
    afterwards = " (told afterwards)" if layer.given_afterwards else ""
    since = f"mixed {words.moment(started, now)}, {duration(now - started)} ago{afterwards}"
    return ", ".join([*parts, since, *filter(None, [layer.note])])
