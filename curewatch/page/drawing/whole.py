"""The page's sections, each as HTML, by the name of its place."""

from collections.abc import Iterable, Mapping

from curewatch.answers.deadlines import next_deadline
from curewatch.answers.document import moment, spoken
from curewatch.answers.page import PageSection
from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.tonight import TonightDocument
from curewatch.answers.watch import WatchDocument
from curewatch.answers.windows import WindowsDocument
from curewatch.page.drawing.here import by_keys
from curewatch.page.drawing.lists import alerts, layers
from curewatch.page.drawing.markup import Markup, joined, tag
from curewatch.page.drawing.pictures import chart, strip
from curewatch.phrases import Said
from curewatch.wording import Sayable, Wording


def sections(
    state: WatchDocument,
    coming: WindowsDocument | None,
    numbers: Mapping[tuple[str, str], int],
    words: Wording,
    now: float,
    *,
    writes: bool,
    ways: TonightDocument | None = None,
) -> dict[PageSection, str]:
    """All that is shown below the verdict; ``ways`` is the same answer with what would turn it. [UTC s]"""
    drawn: dict[PageSection, Iterable[str]] = {
        "todo": _todo(ways or state.advice, words, now, writes=writes),
        "deadline": _deadline(state, words, now),
        "alerts": alerts(state.alerts, numbers, words, now, writes=writes),
        "layers": layers(state.running, words, now),
        "coming": strip(coming, words, now),
        "chart": chart(state.chart, words, now),
        "readings": _readings(state, words),
    }
    return {name: "".join(parts) for name, parts in drawn.items()}


def reason(state: WatchDocument) -> Said | Sayable:
    """The one reason."""
    if state.advice is None:
        return "No answer yet. It waits for the first readings."
    return state.advice.headline


def _todo(advice: TonightDocument | None, words: Wording, now: float, *, writes: bool) -> Markup:
    """The caution before the step it protects, what to do now, what to watch."""
    if advice is None:
        return Markup()
    caution = advice.step_caution
    said = [words.say(each, now) for each in advice.do_now]
    steps = [tag("li", by_keys(each) if writes else each) for each in said]
    if advice.verdict == "no-go" and not steps:
        steps = [tag("li", "What would turn it is not known yet. Wait, or look at the coming hours.")]
    return joined(
        *([] if caution is None else [tag("p", words.say(caution, now), class_="caution")]),
        *([tag("ul", *steps, class_="steps")] if steps else []),
        *([] if advice.watch is None else [tag("p", "Watch: ", words.say(advice.watch, now))]),
    )


def _deadline(state: WatchDocument, words: Wording, now: float) -> Markup:
    found = next_deadline(state.running, now)
    if found is None:
        return tag("p", "No time to act on is foreseen." if state.running else "No layer is running.")
    return joined(
        tag("p", data_due=found.due, class_="count"),
        tag("p", f"{found.text} {words.moment(found.due, now)}", class_="due"),
        tag("p", found.layer),
    )


def _readings(state: WatchDocument, words: Wording) -> Markup:
    rejected = [tag("p", state.rejected, class_="caution")] if state.rejected else []
    if not state.sensors:
        return joined(tag("p", "No sensor has reported yet."), *rejected)
    head = tag("tr", *(tag("th", name, scope="col") for name in ("sensor", "air", "humidity", "age")))
    rows = [_reading(each, words) for each in state.sensors]
    return joined(tag("table", tag("thead", head), tag("tbody", *rows)), *rejected)


def _reading(sensor: SensorStateDocument, words: Wording) -> Markup:
    warm, damp, at = sensor.temperature_c, sensor.humidity_percent, moment(sensor.time)
    ill = "" if sensor.health == "fresh" else spoken(sensor.health).upper()
    return tag(
        "tr",
        tag("th", sensor.sensor, scope="row"),
        tag("td", "–" if warm is None else words.stated(warm, "degC")),
        tag("td", "–" if damp is None else words.stated(damp, "percent")),
        tag("td", tag("span", data_since=at), *([" ", tag("strong", ill)] if ill else [])),
    )
