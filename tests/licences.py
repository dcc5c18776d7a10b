"""The licences of what a user installs, as each library's own metadata tell: ``python -m tests.licences``.

It reads the environment that it runs in, so that has to hold every extra but those of the developers.
"""

import re
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import curewatch

ROOT = Path(__file__).parents[1]
LIST = Path(curewatch.__file__).parent / "LICENCES.md"
OF_DEVELOPERS = ("test", "check")
# Where the metadata carry a whole text or a word alone: read from the library's licence file
SAID = {
    "paho-mqtt": "EPL-2.0 OR BSD-3-Clause",
    "python-dateutil": "Apache-2.0 OR BSD-3-Clause",
    "tzdata": "Apache-2.0 (the zones themselves: public domain)",
}
_HEAD = """# Licences of the libraries
What `pip install curewatch` brings, and what each extra adds, from each library's metadata.
`python -m tests.licences` makes this list. The program's own licence is the repository's LICENSE.
The package carries no fonts and no data of others; tables of measured data are in the tests alone.

| library | licence | comes with |
|---|---|---|
"""


def asked() -> dict[str, list[str]]:
    """The program's own requirements by where they are asked for: ``pip install`` alone, or an extra."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = {f"[{name}]": value for name, value in project["optional-dependencies"].items()}
    for name in OF_DEVELOPERS:
        extras.pop(f"[{name}]")
    return {"the program": project["dependencies"], **extras}


def brought(requirements: list[str]) -> Iterator[str]:
    """Each library that comes with these, and what they need themselves."""
    seen = set()
    todo = [Requirement(one) for one in requirements]
    while todo:
        one = todo.pop()
        name = canonicalize_name(one.name)
        wanted = [{"extra": extra} for extra in ("", *one.extras)]
        if (name, *sorted(one.extras)) in seen or (one.marker and not any(map(one.marker.evaluate, wanted))):
            continue
        seen.add((name, *sorted(one.extras)))
        try:
            needs = distribution(name).requires or []
        except PackageNotFoundError:
            sys.exit(f"{name} is not installed here. Use pip install -e '.[test]' and every other extra.")
        yield name
        todo += [
            need
            for need in map(Requirement, needs)
            if need.marker is None or any(map(need.marker.evaluate, wanted))
        ]


def licence(name: str) -> str:
    """As the metadata say it: an expression, a short name, or classifiers."""
    if name in SAID:
        return SAID[name]
    told = distribution(name).metadata
    said = told.get("License-Expression") or told.get("License") or ""
    if said and "\n" not in said and len(said) < 60:
        return said
    classes = [one for one in told.get_all("Classifier", []) if one.startswith("License ::")]
    return ", ".join(one.rsplit(" :: ", 1)[1] for one in classes) or "not said"


def table() -> str:
    """All libraries, each once, in the order of where they first come with."""
    rows: dict[str, str] = {}
    for where, requirements in asked().items():
        for name in sorted(set(brought(requirements)) - set(rows)):
            rows[name] = f"| {name} | {licence(name)} | {where} |"
    return _HEAD + "\n".join(rows.values()) + "\n"


def listed() -> set[str]:
    """The libraries that the list names."""
    return set(
        re.findall(r"^\| ([a-z0-9-]+) \| (?!not said)", LIST.read_text(encoding="utf-8"), re.MULTILINE)
    )


if __name__ == "__main__":
    LIST.write_text(table(), encoding="utf-8")
