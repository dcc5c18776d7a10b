"""The shed on a record's pages: the drawing of `windows --chart`, of what was measured."""

import xml.etree.ElementTree as ET
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.logbook import Logbook
from curewatch.record import charts
from curewatch.record.account import Account, gather
from curewatch.record.shed_panels import HOLDS, NOTHING
from curewatch.record.words import RecordWords
from curewatch.units import HOUR, MINUTE
from curewatch.wording import Wording
from tests import record_world as world

SVG = "{http://www.w3.org/2000/svg}"
WIDE, LEFT = 720 - 38 - 84, 38.0  # of the plot [px]


@pytest.fixture(scope="module")
def account(tmp_path_factory: pytest.TempPathFactory) -> Account:
    path = tmp_path_factory.mktemp("job") / "logbook.sqlite"
    closing = world.fill(path)
    with Logbook(path) as logbook:
        return gather(logbook, world.JOB, closing)


def drawn(account: Account) -> list[ET.Element]:
    return [ET.fromstring(each) for each in charts.shed(account, RecordWords(Wording(ZoneInfo("UTC"))))]


def shaded(panel: ET.Element, account: Account, colour: str) -> list[tuple[float, float]]:
    """Begin and end of each stretch of a colour. [s UTC]"""
    scale = (account.end - account.start) / WIDE
    found = [each for each in panel.findall(f"{SVG}rect") if each.get("fill") == colour]
    edges = ((float(each.get("x", 0)) - LEFT, float(each.get("width", 0))) for each in found)
    return [(account.start + x * scale, account.start + (x + wide) * scale) for x, wide in edges]


def test_each_line_has_its_band_and_each_limit_its_name(account: Account) -> None:
    """Temperatures, margin and humidity; a band ends where nothing is known, so there are two of each."""
    lines = (["outside", "air", "surface", "dew point"], ["margin"], ["humidity"])
    limits = (["lowest 10 °C", "highest 35 °C"], ["lowest 3 °C"], ["highest 85 %"])
    for panel, names, levels in zip(drawn(account), lines, limits, strict=True):
        said = [each.text or "" for each in panel.iter(f"{SVG}text")]
        assert set(said) >= {*names, *levels, "B1", "L2"}
        known = [each for each in names if each != "outside"]
        stretches = {"surface": 1}  # its probe fell silent at no time
        assert len(panel.findall(f"{SVG}polygon")) == sum(stretches.get(each, 2) for each in known)


def test_stretches_are_shaded_in_which_every_limit_held(account: Account) -> None:
    """A damp night, a cold hour and a margin that is lost end the shading; so does what is not known."""
    measured, at = account.measured, account.measured.time
    damp = (at >= account.start + 10 * HOUR) & (at < account.start + 14 * HOUR)
    cold = (at >= account.start + 30 * HOUR) & (at < account.start + 31 * HOUR)
    wet = (at >= account.start + 50 * HOUR) & (at < account.start + 52 * HOUR)
    spoilt = measured._replace(
        relative_humidity=np.where(damp, 0.9, measured.relative_humidity),
        air_temperature=np.where(cold, 280.0, measured.air_temperature),
        dew_point=np.where(wet, measured.surface_temperature - 2.0, measured.dew_point),
    )
    wrong = damp | cold | wet | np.isnan(measured.margin)
    changed = replace(account, measured=spoilt)
    for panel in drawn(changed):
        held = shaded(panel, account, HOLDS)
        inside = np.zeros(at.size, bool)
        for begin, end in held:
            inside |= (at >= begin - 0.1) & (at <= end + 0.1)
        there = (at >= account.start) & (at <= account.end)
        assert np.mean(inside[there] == ~wrong[there]) > 0.99
        assert len(held) == 5


def test_what_is_not_known_is_darker_than_what_held(account: Account) -> None:
    """Apart in grey by more than a band over them makes; and it stands where nothing was recorded."""
    grey = {
        colour: sum(part * int(colour[at : at + 2], 16) for part, at in ((0.3, 1), (0.59, 3), (0.11, 5)))
        for colour in (HOLDS, NOTHING)
    }
    assert grey[NOTHING] < grey[HOLDS] - 20 < 255 - 40
    gaps = shaded(drawn(account)[1], account, NOTHING)
    unknown = account.measured.time[np.isnan(account.measured.margin)]
    longest = max(gaps, key=lambda gap: gap[1] - gap[0])
    assert longest[1] - longest[0] == pytest.approx(HOUR, abs=10 * MINUTE)
    assert np.sum((unknown >= longest[0] - MINUTE) & (unknown <= longest[1] + MINUTE)) > 55
