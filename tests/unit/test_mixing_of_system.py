"""A system's own ratio and tolerance decide what a scale may read."""

import pytest

from curewatch.advice import mixing
from curewatch.materials import load_system


def test_a_system_s_file_gives_ratio_tolerance_and_origin() -> None:
    """The usual ratio is the file's, the band its tolerance to both sides, and the origin travels along."""
    system = load_system("epoxy-slow")
    assert system.mix is not None
    origin = system.origins["mix.hardener_mass"]
    found = mixing.proportion(system.mix, origin)
    assert found.usual == system.mix.hardener_mass
    assert found.tolerance == pytest.approx(system.mix.tolerance)
    assert (found.tag, found.source) == (origin.tag, origin.source)
