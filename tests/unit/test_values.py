"""Values are frozen ``msgspec.Struct``: a dataclass takes fifty times as long at import (0.6 ms each)."""

import re
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from msgspec.structs import replace

from curewatch.materials import load_resin
from curewatch.materials.resin import Origin
from curewatch.materials.substrate import load_substrate

ROOT = Path(str(files("curewatch")))


def frozen_dataclasses(sources: Mapping[str, str]) -> list[str]:
    """Places that make a value in the slow way, or another of it, which a Struct refuses."""
    return [
        place
        for place, source in sources.items()
        if re.search(r"@dataclass\([^)]*frozen|dataclasses import .*replace", source)
    ]


def test_no_value_is_a_frozen_dataclass() -> None:
    """Over all rooms; one that is there is found."""
    assert frozen_dataclasses(
        {"a": "@dataclass(slots=True, frozen=True)", "b": "@dataclass(slots=True)"}
    ) == ["a"]
    sources = {str(each.relative_to(ROOT)): each.read_text(encoding="utf-8") for each in ROOT.rglob("*.py")}
    assert frozen_dataclasses(sources) == []


def test_where_a_number_comes_from_is_no_part_of_a_resin() -> None:
    """Two that differ in origins alone share their tables; two that differ in a number do not."""
    slow = load_resin("epoxy-slow")
    told = replace(slow, origins={"kinetics.k1": Origin("learned", "a layer")})
    other = replace(slow, rate_sd=2.0 * slow.rate_sd)
    assert (told == slow, hash(told) == hash(slow)) == (True, True)
    assert (other == slow, hash(other) == hash(slow), slow == slow.name) == (False, False, False)


def test_a_substrate_can_be_a_key() -> None:
    """Its dictionary of origins is no part of its hash."""
    ply = load_substrate("plywood")
    same = replace(ply, origins=dict(ply.origins))
    assert (same == ply, hash(same) == hash(ply)) == (True, True)
    assert hash(replace(ply, thickness=2.0 * ply.thickness)) != hash(ply)
