"""All sheds as a list of links, worst first."""

from collections.abc import Sequence
from urllib.parse import quote

from curewatch.answers.sheds import ShedLineDocument
from curewatch.clock import utc_from_iso
from curewatch.page.drawing.markup import Markup, joined, tag
from curewatch.wording import Wording

MOST = 200  # lines that a telephone is given; the worst come first


def sheds_list(sheds: Sequence[ShedLineDocument], words: Wording, now: float) -> Markup:
    """Each leads to its own page. [UTC s]"""
    listed = tag("ul", *(tag("li", _shed(each, words, now)) for each in sheds[:MOST]), class_="sheds")
    left = len(sheds) - MOST
    return joined(listed, tag("p", f"and {left} more, none of them worse")) if left > 0 else listed


def _shed(shed: ShedLineDocument, words: Wording, now: float) -> Markup:
    alerts = f"{shed.ringing} {'alert' if shed.ringing == 1 else 'alerts'}. " if shed.ringing else ""
    named = " · ".join(each for each in (shed.shed, shed.boat) if each)
    parts = [
        tag("strong", shed.verdict.upper(), " ", named),
        tag("span", alerts, words.say(shed.reason, now)),
    ]
    if shed.deadline is not None:
        due = utc_from_iso(shed.deadline.due)
        said = f"{shed.deadline.text} {words.moment(due, now)}, {shed.deadline.layer}: "
        parts.append(tag("span", said, tag("span", data_left=due)))
    return tag("a", *parts, href=f"/shed/{quote(shed.shed, safe='')}/", class_=shed.verdict)
