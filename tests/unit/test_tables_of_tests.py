"""What the rooms' documents say is tested is tested, and stands in their tables."""

import fnmatch
import importlib
import inspect
import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType

import pytest

import curewatch
from tests.senders import SENDERS

TESTS = Path(__file__).parents[1]
ROOMS = sorted(Path(curewatch.__file__).parent.rglob("README.md"))


def there_are() -> set[str]:
    """Files and functions of tests."""
    files = list(TESTS.rglob("test_*.py"))
    functions = (name for file in files for name in re.findall(r"def (test_\w+)", file.read_text()))
    return {*functions, *(file.stem for file in files)}


@pytest.mark.parametrize("room", ROOMS, ids=[room.parent.name for room in ROOMS])
def test_each_test_that_a_room_names_exists(room: Path) -> None:
    """By its file or its function; a star stands for several."""
    names = there_are()
    told = set(re.findall(r"`(?:\w+/)?(test_[\w*]+)", room.read_text(encoding="utf-8")))
    assert [each for each in sorted(told) if not fnmatch.filter(names, each)] == []
    assert len(names) > 1000


def test_each_sender_stands_in_its_table() -> None:
    table = next(room for room in ROOMS if room.parent.name == "wire").read_text(encoding="utf-8")
    missing = [each.name for each in SENDERS if f"`{each.name}`" not in table]
    assert not missing, f"name these in the table of senders of curewatch/wire/README.md: {missing}"


ATTACKS = sorted(
    file.stem.removeprefix("test_attack_")
    for file in TESTS.glob("fault/test_attack_*.py")
    if file.stem != "test_attack_controls"
)


def attack_tables() -> tuple[str, str]:
    """What is found by whom, and the controls."""
    room = next(room for room in ROOMS if room.parent.name == "record").read_text(encoding="utf-8")
    found, controls = room.split("## Attack by attack")[1].split("| its control |")
    return found, controls.split("\n\n")[0]


def test_each_attack_stands_in_its_table() -> None:
    """Attack by attack: what is found by whom."""
    found, _ = attack_tables()
    assert [each for each in ATTACKS if f"`{each}`" not in found] == []


def fault(name: str) -> ModuleType:
    return importlib.import_module(f"tests.fault.test_attack_{name}")


def attacks_of(module: ModuleType) -> Iterator[tuple[str, Callable[..., object]]]:
    for name, test in vars(module).items():
        if name.startswith("test_") and getattr(test, "__module__", "") == module.__name__:
            yield name, test


def count_cases(test: Callable[..., object]) -> int:
    """As many kinds as its marks give; the same by another attacker is no other kind."""
    marks = [
        one
        for one in getattr(test, "pytestmark", ())
        if one.name == "parametrize" and one.args[0] != "attacker"
    ]
    return math.prod(len(one.args[1]) for one in marks)


def what_is_wrong(attack: str, controls: set[str]) -> str:
    """Nothing, where three cases and each named control are there."""
    here, shared = dict(attacks_of(fault(attack))), dict(attacks_of(fault("controls")))
    if not controls or controls - set(here) - set(shared):
        return f"{attack}: no control, or one that is not there: {sorted(controls)}"
    if silent := [name for name in controls & set(here) if "control" not in inspect.getsource(here[name])]:
        return f"{attack}: {silent} does not say that it is a control"
    cases = sum(count_cases(each) for each in here.values() if not is_control(each))
    return f"{attack}: {cases} cases" if cases < 3 else ""


def test_each_attack_has_three_cases_and_a_control() -> None:
    """The control is of its file, or among the controls of all; it is not counted as a case."""
    rows = [set(re.findall(r"`(\w+)`", row)) for row in attack_tables()[1].splitlines()]
    own = {each: {name for name in row if name.startswith("test_")} for row in rows for each in row}
    assert [wrong for each in ATTACKS if (wrong := what_is_wrong(each, own.get(each, set())))] == []
    assert what_is_wrong("edited", set()).startswith("edited: no control")
    assert what_is_wrong("edited", {"test_what_is_edited_is_found"}).endswith("is a control")


def is_control(test: Callable[..., object]) -> bool:
    """Nothing but a control; others have theirs behind the attack."""
    return (test.__doc__ or "").startswith("The control")


def test_no_two_files_of_tests_have_one_name() -> None:
    """pytest knows a module by its name alone: the second of two cannot be read."""
    names = [path.name for path in TESTS.rglob("test_*.py")]
    assert len(names) == len(set(names))
