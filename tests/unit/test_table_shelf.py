"""Tables of resins that are kept: the least used goes first, and one that comes back is the same."""

import numpy as np
import pytest

from curewatch.materials import load_resin
from curewatch.model.film import flow_map
from curewatch.model.film.flow_map import FlowMap, TableShelf
from curewatch.model.film.lots import Lot

NAMES = ("epoxy-slow", "epoxy-fast", "epoxy-low-blush")


def asked(name: str, warmest: float = 291.0) -> FlowMap:
    return flow_map.flow_map([Lot(load_resin(name), 1.0)], 288.0, warmest, 900.0)


def test_the_least_used_table_goes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where a process says later that it meets more resins."""
    shelf = TableShelf(2)
    monkeypatch.setattr(flow_map, "SHELF", shelf)
    slow, fast = asked(NAMES[0]), asked(NAMES[1])
    assert asked(NAMES[0]) is slow
    asked(NAMES[2])
    assert asked(NAMES[0]) is slow
    again = asked(NAMES[1])
    assert again is not fast
    assert np.array_equal(again.coefficients, fast.coefficients)
    shelf.most = 3
    third = asked(NAMES[2])
    assert asked(NAMES[0]) is not asked(NAMES[1])
    assert asked(NAMES[2]) is third


def test_a_table_grows_with_what_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """And stays as wide as it was asked for once."""
    monkeypatch.setattr(flow_map, "SHELF", TableShelf(2))
    narrow = asked(NAMES[0])
    wide = asked(NAMES[0], 301.0)
    assert (narrow.warmest, wide.warmest) == (295.0, 305.0)
    assert asked(NAMES[0]) is wide
