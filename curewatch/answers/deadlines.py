"""What every screen says of running layers: the next moment to act on, their names, what else is to be known."""

from typing import NamedTuple

from curewatch.advice.alert.stages import COOLED
from curewatch.answers.document import moment
from curewatch.answers.layer import RunningLayerDocument
from curewatch.answers.parts import MomentDocument
from curewatch.safe_text import safe_line
from curewatch.units import MINUTE
from curewatch.wording import Wording, duration, sure_window


class Deadline(NamedTuple):
    """The next moment that somebody must act on: a beginning when it is likely, an end when it may be."""

    due: float  # UTC [s]
    text: str
    layer: str


# moment -> (what to say, which part of its band counts: the same as in the alerts)
DEADLINES = {
    "laminate-from": ("laminate again from", "likely"),
    "laminate-before": ("laminate again before", "early"),
    "tack-free": ("tack-free by", "late"),
    "ready-to-sand": ("ready to sand from", "late"),
}


BOILING_CELSIUS = 100.0  # above it the advice is a no-go [degC]


def next_deadline(running: list[RunningLayerDocument], now: float) -> Deadline | None:
    """The soonest deadline of any layer still to come; a window that may not open is none. [UTC s]"""
    found = [
        Deadline(due, words, named(each))
        for each in running
        for coming in each.timeline
        if coming.name in DEADLINES and not (coming.name == "laminate-from" and unsure_window(each, now))
        for words, end in (DEADLINES[coming.name],)
        if (due := moment(getattr(coming, end))) is not None and due > now
    ]
    return min(found, default=None)


def countdown(seconds: float) -> str:
    """Hours and minutes left, rounded down so that nobody is late by it: ``0:42``."""
    minutes = max(0, int(seconds // MINUTE))
    return f"{minutes // 60}:{minutes % 60:02d}"


def place(layer: RunningLayerDocument) -> str:
    """Its job and part: ``J1 rudder cheek``; empty where neither was told."""
    return safe_line(" ".join(each for each in (layer.job, layer.part) if each))


def named(layer: RunningLayerDocument) -> str:
    """Layer, job and part, as on every row: ``L2 J1 rudder cheek``."""
    return f"{safe_line(layer.layer)} {place(layer)}".strip()


def unsure_window(layer: RunningLayerDocument, now: float) -> str:
    """That its recoat window may close before it opens, for a line of its own; empty once it closed. [UTC s]"""
    marks = {each.name: each for each in layer.timeline}
    opens, closes = marks.get("laminate-from"), marks.get("laminate-before")
    if opens is None or closes is None or _over(closes.late, now):
        return ""
    sure = sure_window(moment(opens.likely), moment(closes.early))
    return "" if sure else "no sure window for the next layer: plan to abrade"


def remark(coming: MomentDocument, now: float) -> str:
    """What goes with a moment; of the gel only while the next ply may still go on wet on wet. [UTC s]"""
    return "" if coming.name == "gel" and _over(coming.early, now) else coming.note


def _over(stamp: str | None, now: float) -> bool:
    when = moment(stamp)
    return when is not None and when <= now


def unmeasured(layer: RunningLayerDocument) -> str:
    """How long nobody measured it, for a line of its own; empty where no such stretch was long."""
    if not layer.unmeasured_s:
        return ""
    return f"no reading for {duration(layer.unmeasured_s)} of its time: estimated there"


def own_heat(layer: RunningLayerDocument, words: Wording) -> str:
    """How hot it gets by itself, and what that asks for; empty where it needs no care, or once it is firm."""
    if layer.peak_temperature_c is None or layer.stage in COOLED:
        return ""
    hot = words.stated(layer.peak_temperature_c, "degC")
    said = f"WARNING: it may heat itself to {hot}: no more plies, nothing over it, heater off, hands off"
    return f"{said}; if it smokes, leave the shed" if layer.peak_temperature_c > BOILING_CELSIUS else said
