"""Functions are short, and those of the pure rooms say units, shapes, errors and sources."""

import ast
import gc
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import pytest

import curewatch

ROOT = Path(curewatch.__file__).parent
LONGEST = 40  # lines of a body, its docstring and its late imports not counted
COPIED = 5  # lines from which on a copy is one
TABLES = {  # a table reads better whole
    "answers/cure.py _finish": "the keys of a document",
    "model/fit/sheet_unknowns.py unknowns": "what a fit may change, a row each",
}
BLOCKS = (ast.stmt, ast.excepthandler, ast.match_case)  # what a function may stand in
PURE = ("physics", "materials", "model", "advice")
NUMBER = re.compile(r"\bfloat\b|FloatArray|ArrayLike")
ARRAY = re.compile(r"FloatArray|ArrayLike")
UNIT = re.compile(r"\[[^\]]{1,40}\]")
SHAPE = re.compile(r"[Ss]hape|\([a-z0-9…. +]+(?:,[a-z0-9…. +]+)*,?\)|\.\.\.|scalar")
ERROR = re.compile(r"[Rr]aise|[Rr]efuse")
RAISING = {"_within", "require_temperature"}  # raise for whoever calls them


@cache
def parsed(path: Path) -> ast.Module:
    """A file of the program, read once for all tests."""
    tree = ast.parse(path.read_text("utf-8"))
    gc.freeze()  # it stays to the end: no search for garbage goes through half a million nodes
    return tree


def functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every function, by its file and name; also of a class, and within a function or a condition."""
    for path in sorted(ROOT.rglob("*.py")):
        waiting: list[ast.AST] = list(parsed(path).body)
        while waiting:
            node = waiting.pop()
            if isinstance(node, ast.FunctionDef):
                yield f"{path.relative_to(ROOT)} {node.name}", node
            waiting += (each for each in ast.iter_child_nodes(node) if isinstance(each, BLOCKS))


def body(function: ast.FunctionDef) -> list[ast.stmt]:
    """Its statements but for docstring and imports."""
    kept = [each for each in function.body if not isinstance(each, ast.Import | ast.ImportFrom)]
    said = kept and isinstance(kept[0], ast.Expr) and isinstance(kept[0].value, ast.Constant)
    return kept[1:] if said else kept


def length(function: ast.FunctionDef) -> int:
    """Lines from its first statement that is neither docstring nor import."""
    rest = body(function)
    return (function.end_lineno or 0) - rest[0].lineno + 1 if rest else 0


def copies(found: Iterable[tuple[str, ast.FunctionDef]]) -> list[str]:
    """Functions that do what another does, word for word; only what begins and ends alike is compared."""
    first: dict[str, str] = {}
    likely = defaultdict(list)
    for name, each in found:
        if length(each) >= COPIED:
            done = body(each)
            likely[ast.dump(done[0]), type(done[-1]), len(done)].append((name, done))
    alike = (each for several in likely.values() if len(several) > 1 for each in several)
    texts = ((name, ast.dump(ast.Module(done, []))) for name, done in alike)
    return [f"{name}: {first[text]}" for name, text in texts if first.setdefault(text, name) != name]


def test_no_function_is_longer_than_forty_lines_and_none_is_there_twice() -> None:
    """But for the tables, each of which is named and is one. The control: one more line, and a copy."""
    every = list(functions())
    assert {name for name, function in every if length(function) > LONGEST} == set(TABLES)
    assert copies(every) == []
    made = ast.parse("def long():\n" + "    x = 1\n" * 41 + "def same():\n" + "    x = 1\n" * 41).body
    both = [(each.name, each) for each in made if isinstance(each, ast.FunctionDef)]
    assert [length(each) for _, each in both] == [LONGEST + 1] * 2
    assert copies(both) == ["same: long"]


def public(body: list[ast.stmt]) -> Iterator[ast.FunctionDef]:
    """Functions, and methods of classes, that others may call."""
    for each in body:
        if isinstance(each, ast.ClassDef | ast.FunctionDef) and not each.name.startswith("_"):
            if isinstance(each, ast.ClassDef):
                yield from public(each.body)
            else:
                yield each


def called(function: ast.FunctionDef) -> set[str]:
    """Names of the functions that it calls."""
    calls = (each for each in ast.walk(function) if isinstance(each, ast.Call))
    return {each.func.id for each in calls if isinstance(each.func, ast.Name)}


def lacking(room: str, function: ast.FunctionDef) -> list[str]:
    """What its docstring does not say."""
    said = ast.get_docstring(function) or ""
    asked = [each.annotation for each in (*function.args.args, *function.args.kwonlyargs)] + [
        function.returns
    ]
    types = " ".join(ast.unparse(each) for each in asked if each is not None)
    raises = any(isinstance(each, ast.Raise) and each.exc is not None for each in ast.walk(function))
    wanted = {
        "a sentence": bool(said),
        "its units": not NUMBER.search(types) or UNIT.search(said),
        "its shapes": not ARRAY.search(types) or SHAPE.search(said),
        "its errors": not (raises or (room == "physics" and called(function) & RAISING))
        or ERROR.search(said),
        "its source": room != "physics" or "Source" in said,
    }
    return [what for what, there in wanted.items() if not there]


def test_public_functions_of_the_pure_rooms_say_what_they_must() -> None:
    """A unit where a number goes in or out, a shape where an array does, errors; in physics the source."""
    every = [
        (f"{path.relative_to(ROOT)}:{function.lineno} {function.name}", room, function)
        for room in PURE
        for path in sorted((ROOT / room).rglob("*.py"))
        for function in public(parsed(path).body)
    ]
    assert len(every) > 440  # so that none is passed over
    found = [f"{name}: {what}" for name, room, function in every for what in lacking(room, function)]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("text", "missing"),
    [
        ("def f() -> str: pass", "a sentence"),
        ("def f(x: float) -> str:\n    'How warm it is.'", "its units"),
        ("def f(x: FloatArray) -> str:\n    'How warm it is. [K]'", "its shapes"),
        ("def f(x: float) -> str:\n    'A name. [K]'\n    raise ValueError('no name')", "its errors"),
        ("def f(x: float) -> str:\n    'A name. [K]'\n    require_temperature(x)", "its errors"),
        ("def f() -> str:\n    'A name.'", "its source"),
    ],
)
def test_what_is_not_said_is_found(text: str, missing: str) -> None:
    """The control: each kind of gap, alone."""
    (function,) = public(ast.parse(text).body)
    assert missing in lacking("physics", function)
