"""Sensors that have said nothing for hours, at two real roof spaces: the band of what comes stays honest."""

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge.situation import Situation
from curewatch.materials.substrate import load_substrate
from curewatch.model.air.outlook import band
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
from tests.published.evenings import FIRST, heard
from tests.published.forecast_trials import Space, roof

Record = Callable[[str, str], None]

PLACES = ("roof_space_R2", "roof_space_R6")
EVERY = 193  # hours between two questions: each hour of the day comes
SILENT = 3  # hours
AHEAD = (0, 3, 6)  # hours from the moment of asking
LEAST, MOST = 0.66, 0.94  # of a band of 0.8: what 115 questions leave room for


def inside(space: Space) -> list[np.ndarray]:
    """Whether the surface then lay in the band, of each question."""
    found, substrate = [], load_substrate("plywood")
    for last in range(FIRST, len(space.time) - 24, EVERY):
        known = heard(space, last, np.zeros(4))
        asked = known.at + SILENT * HOUR
        outlook = coming_hours(replace(known, at=asked), substrate, length=24 * HOUR)
        assert outlook is not None
        at = asked + HOUR * np.array(AHEAD)
        low, _, high = (np.interp(at, outlook.time, edge) for edge in band(outlook.surface_temperature))
        came = np.interp(at, space.time, space.surface)
        found.append((low <= came) & (came <= high))
    return found


@pytest.mark.long
def test_a_band_widens_with_the_time_since_the_last_reading(
    monkeypatch: pytest.MonkeyPatch, record_property: Record
) -> None:
    """As many truths lie in it as it tells, now and later. The control: paths that begin when it is asked."""
    spaces = [roof(place) for place in PLACES]
    shares = np.mean([each for space in spaces for each in inside(space)], axis=0)
    told = ", ".join(f"{share:.0%} at {hours} h" for share, hours in zip(shares, AHEAD, strict=True))
    record_property("measured", f"silent for {SILENT} h, in a band of 80 %: {told}")
    assert shares.min() > LEAST
    assert shares.max() < MOST
    monkeypatch.setattr(Situation, "heard", property(lambda self: self.at))
    defect = np.mean([each for space in spaces for each in inside(space)], axis=0)
    assert defect[0] < 0.1
    assert defect[1] < LEAST
