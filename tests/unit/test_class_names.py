"""A class name means one thing."""

import re
from collections import defaultdict
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

ROOT = Path(str(files("curewatch")))


def twice(sources: Mapping[str, str]) -> dict[str, list[str]]:
    """Public class names that stand in several of these sources."""
    found: dict[str, list[str]] = defaultdict(list)
    for place, source in sources.items():
        for name in re.findall(r"^class ([A-Za-z]\w*)", source, re.MULTILINE):
            found[name].append(place)
    return {name: places for name, places in found.items() if len(places) > 1}


def test_no_public_class_name_is_defined_twice() -> None:
    """Over all rooms; two files that share a name are found."""
    assert twice({"a": "class Shape: ...", "b": "class Shape: ..."}) == {"Shape": ["a", "b"]}
    sources = {str(each.relative_to(ROOT)): each.read_text(encoding="utf-8") for each in ROOT.rglob("*.py")}
    assert twice(sources) == {}
