"""The libraries that are installed are those that the project asks for."""

import tomllib
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests import licences

PROJECT = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def strangers(asked: list[str]) -> list[str]:
    """Each library that is missing or of a version that is not asked for."""
    found = []
    for one in map(Requirement, asked):
        try:
            there = version(one.name)
        except PackageNotFoundError:
            there = ""
        if not there or not one.specifier.contains(there, prereleases=True):
            found.append(f"{one.name}: found {there or 'none'}, asked {one.specifier}")
    return found


def test_every_library_is_of_a_version_that_is_asked_for() -> None:
    """An old environment after a change of pyproject.toml fails here, with the library's name."""
    assert strangers(["pytest<1"])
    assert strangers(PROJECT["dependencies"]) == [], "use pip install -e '.[test]'"


def test_every_library_has_its_licence_listed() -> None:
    """Each that the program or an extra asks for; what they bring stands there as it was when made."""
    known = licences.listed()
    wanted = {canonicalize_name(Requirement(one).name) for some in licences.asked().values() for one in some}
    assert wanted - known == set(), "make the list anew: python -m tests.licences"
