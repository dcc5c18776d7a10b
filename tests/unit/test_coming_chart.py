"""The coming 48 hours as a picture: what it shows, and that it can be read in grey."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from curewatch.advice.judge.weather import weather
from curewatch.advice.plan.windows import AHEAD, strip
from curewatch.cli.coming_chart import draw, picture
from curewatch.errors import UsageError
from curewatch.wording import Wording
from tests.unit.test_advice_windows import ALWAYS, ASKED, NOW, days, shed

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def drawn() -> tuple[ET.Element, object]:
    outlook = days(shed())
    found = strip(ASKED, shed(), outlook, ALWAYS)
    text = picture((found,), weather(outlook, NOW, length=AHEAD), ASKED.limits, Wording())
    return ET.fromstring(text), found


def texts(node: ET.Element) -> list[str]:
    return [each.text or "" for each in node.iter(f"{SVG}text")]


def test_it_shows_band_limits_and_go_stretches(drawn) -> None:
    """Each of three panels has its lines by name, a band about each, its limits, and every go stretch."""
    whole, found = drawn
    panels = whole.findall(f"{SVG}svg")
    names = (["air", "surface", "dew point"], ["margin"], ["humidity"])
    limits = (["lowest", "highest"], ["lowest 3 "], ["highest 85 %"])
    assert len(panels) == 3
    for panel, lines, levels in zip(panels, names, limits, strict=True):
        said = texts(panel)
        assert [each for each in said if each in lines] == sorted(lines, key=said.index)
        assert len(panel.findall(f"{SVG}polygon")) == len(lines)
        assert all(any(each.startswith(level) for each in said) for level in levels)
        assert sum(each == "go: epoxy-fast" for each in said) >= 1
        fills = [each.get("fill") for each in panel.findall(f"{SVG}rect")]
        assert fills.count("#e3eee4") == len(found.windows)


def test_a_go_stretch_stands_where_its_window_is(drawn) -> None:
    """Its left and right edge are those of the first and last start, to a tenth of a pixel."""
    whole, found = drawn
    panel = whole.findall(f"{SVG}svg")[0]
    rects = panel.findall(f"{SVG}rect")
    width = 720 - 38 - 84
    for rect, window in zip(rects, found.windows, strict=True):
        for edge, index in ((0.0, window.first), (float(rect.get("width")), window.last)):
            at = (float(found.starts.start[index]) - NOW) / AHEAD
            assert float(rect.get("x")) + edge == pytest.approx(38 + at * width, abs=0.11)


def test_it_can_be_read_in_grey(drawn) -> None:
    """Lines of one panel differ by dash, every line has its name beside it, a go stretch has a flag."""
    whole, _ = drawn
    for panel in whole.findall(f"{SVG}svg"):
        dashes = [each.get("stroke-dasharray", "") for each in panel.findall(f"{SVG}polyline")]
        assert len(set(dashes)) == len(dashes)
        for colour in {each.get("stroke") for each in panel.findall(f"{SVG}polyline")}:
            assert contrast(str(colour), "#ffffff") >= 4.5
            assert contrast(str(colour), "#e3eee4") >= 3.0


def contrast(one: str, other: str) -> float:
    """WCAG 2.2: relative luminances, lighter to darker."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def luminance(colour: str) -> float:
    parts = np.array([int(each, 16) for each in re.findall("[0-9a-f]{2}", colour)]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def test_another_name_or_folder_is_refused(tmp_path: Path) -> None:
    """Only .svg, and only where a file can be written."""
    outlook = days(shed())
    found = (strip(ASKED, shed(), outlook, ALWAYS),)
    with pytest.raises(UsageError, match=r"ends in \.svg"):
        draw(found, outlook, ASKED.limits, tmp_path / "a.png", Wording())
    with pytest.raises(UsageError, match="Use a file that can be written"):
        draw(found, outlook, ASKED.limits, tmp_path / "none" / "a.svg", Wording())
    draw(found, outlook, ASKED.limits, tmp_path / "a.svg", Wording())
    assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg ")


def boxes(panel: ET.Element) -> list[tuple[float, float, float, float, str]]:
    """Left, top, right, bottom of each text: letters half as wide as high, a fifth of them below the line."""
    found = []
    for each in panel.iter(f"{SVG}text"):
        x, y, high = (float(each.get(name, 0)) for name in ("x", "y", "font-size"))
        wide = 0.5 * high * len(each.text or "")
        left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[each.get("text-anchor", "start")]
        found.append((left, y - 0.7 * high, left + wide, y + 0.2 * high, each.text or ""))
    return found


def touching(panel: ET.Element) -> list[tuple[str, str]]:
    """Texts that cover a part of each other."""
    every = boxes(panel)
    return [
        (one[4], other[4])
        for number, one in enumerate(every)
        for other in every[:number]
        if one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
    ]


@pytest.mark.parametrize(("humidity", "swing"), [(0.55, 7.0), (0.40, 0.5)])
def test_no_text_touches_another(humidity: float, swing: float) -> None:
    """Limits, flags, names, hours and the unit, also where a limit is the top of its panel.

    The control: a limit set onto a flag.
    """
    situation = shed(humidity=humidity)
    outlook = days(situation, swing)
    found = strip(ASKED, situation, outlook, ALWAYS)
    whole = ET.fromstring(picture((found,), weather(outlook, NOW, length=AHEAD), ASKED.limits, Wording()))
    for panel in whole.findall(f"{SVG}svg"):
        assert touching(panel) == []
        said = {(each.text or "").split()[0]: each for each in panel.iter(f"{SVG}text")}
        for name in ("x", "y", "text-anchor"):
            said["lowest" if "lowest" in said else "highest"].set(name, said["go:"].get(name, ""))
        assert touching(panel)
