"""Alerts and layers as lists: what waits first, and each by its job and part."""

import math
from collections.abc import Mapping, Sequence

from curewatch.answers.alerts import AlertDocument, in_order
from curewatch.answers.deadlines import named, own_heat, unmeasured, unsure_window
from curewatch.answers.document import moment, spoken
from curewatch.answers.layer import RunningLayerDocument
from curewatch.answers.parts import MomentDocument
from curewatch.clock import utc_from_iso
from curewatch.page.drawing.here import by_keys
from curewatch.page.drawing.markup import Markup, joined, tag
from curewatch.wording import Wording, brief

SHOWN = 8  # alerts at once; the rest folds away

Numbers = Mapping[tuple[str, str], int]


def alerts(
    active: Sequence[AlertDocument], numbers: Numbers, words: Wording, now: float, *, writes: bool
) -> Markup:
    """Those that nobody acknowledged first, each with its key where this phone may write. [UTC s]"""
    if not active:
        return tag("p", "No alert is active.")
    ordered = in_order(active, now)
    items = [_alert(each, numbers, words, now, writes=writes) for each in ordered]
    more = len(items) - SHOWN
    return joined(
        *(_all(ordered, numbers) if writes else ()),
        tag("ul", *items[:SHOWN], class_="alerts"),
        *(
            [tag("details", tag("summary", f"{more} more"), tag("ul", *items[SHOWN:], class_="alerts"))]
            if more > 0
            else []
        ),
    )


def _all(active: Sequence[AlertDocument], numbers: Numbers) -> list[Markup]:
    """One key for all, where several wait."""
    waiting = [numbers.get((each.alert, each.subject)) for each in active if each.acknowledged is None]
    known = [str(each) for each in waiting if each is not None]
    if len(known) < 2:
        return []
    return [tag("button", f"Acknowledge all {len(known)}", type="button", data_acknowledge=" ".join(known))]


def _alert(alert: AlertDocument, numbers: Numbers, words: Wording, now: float, *, writes: bool) -> Markup:
    seen, due = alert.acknowledged is not None, moment(alert.due)
    number = numbers.get((alert.alert, alert.subject))
    since = f"since {words.moment(utc_from_iso(alert.since), now)}"
    said = words.say(alert.text, now)
    parts = [tag("p", tag("strong", "acknowledged: " if seen else "ALERT: "), said)]
    if alert.advised is not None:
        advised = words.say(alert.advised, now)
        parts.append(tag("p", by_keys(advised) if writes else advised))
    left = [" · ", tag("span", data_left=due)] if due is not None else []
    parts.append(tag("p", since, *left, class_="small"))
    if writes and not seen and number is not None:
        label = f"Acknowledge: {said[:80]}"
        parts.append(tag("button", "Acknowledge", type="button", data_acknowledge=number, aria_label=label))
    return tag("li", *parts, class_="seen" if seen else "waits")


def layers(running: Sequence[RunningLayerDocument], words: Wording, now: float) -> Markup:
    """Every running layer under its job and part, with its windows. [UTC s]"""
    if not running:
        return tag("p", "No layer is running.")
    return joined(*(_layer(each, words, now) for each in running))


def _layer(layer: RunningLayerDocument, words: Wording, now: float) -> Markup:
    mass = [] if layer.batch_mass_g is None else [words.stated(layer.batch_mass_g, "g")]
    laid = ", ".join([layer.resin, *mass, f"mixed {words.moment(utc_from_iso(layer.started), now)}"])
    stands = layer.reason if layer.stage is None else spoken(layer.stage)
    rows = [_moment(each, words, now) for each in layer.timeline]
    head = tag("tr", *(tag("th", name, scope="col") for name in ("what", "likely", "between")))
    return tag(
        "article",
        tag("h3", named(layer)),
        tag("p", laid, ": ", tag("strong", stands)),
        *(
            tag("p", told)
            for told in (own_heat(layer, words), unmeasured(layer), unsure_window(layer, now))
            if told
        ),
        *([tag("table", tag("thead", head), tag("tbody", *rows))] if rows else []),
    )


def _moment(coming: MomentDocument, words: Wording, now: float) -> Markup:
    early, likely, late = moment(coming.early), moment(coming.likely), moment(coming.late)
    past = late is not None and late <= now
    when = "not in the coming hours" if likely is None else words.foreseen(likely, now, math.floor)
    band = brief(words.band(early, late, now)) if early is not None and late is not None else ""
    return tag(
        "tr",
        tag("th", coming.title, scope="row"),
        tag("td", when, class_="when"),
        tag("td", band),
        class_="past" if past else None,
    )
