"""A system's own ratio and tolerance decide what a scale may read."""

import pytest

from curewatch.advice.plan import mixing
from curewatch.materials import load_resin


def test_a_system_s_file_gives_ratio_tolerance_and_origin() -> None:
    """The usual ratio is the file's, the band its tolerance to both sides, and the origin travels along."""
    resin = load_resin("epoxy-slow")
    assert resin.mix is not None
    origin = resin.origins["mix.hardener_mass"]
    found = mixing.proportion(resin.mix, origin)
    assert found.usual == resin.mix.hardener_mass
    assert found.tolerance == pytest.approx(resin.mix.tolerance)
    assert (found.tag, found.source) == (origin.tag, origin.source)
