"""Which small wrong changes of one file does no test notice?

    python -m tests.mutants curewatch/model/film/blush.py --seed 7 11 23 --tests tests/unit/test_blush.py

One process collects the tests; each mutant gets a copy of it, in which the functions of the file have its
code. A change outside of functions is imported anew. The tests that go through the changed line run until one
fails: first those that have found other mutants, then the cheap ones. A test that takes far longer than it
does without a mutant has failed, too.

Two controls come first: without a mutant every test passes, and where every function raises, some test fails.
"""

import argparse
import ast
import functools
import gc
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import types
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

PATIENCE = 2.0, 10.0  # s, and times what it takes without a mutant, before a test counts as failed
COLD = 240  # s for all tests of a change outside of functions
PAIRS = ((ast.Lt, ast.LtE), (ast.Gt, ast.GtE), (ast.Eq, ast.NotEq), (ast.Is, ast.IsNot), (ast.In, ast.NotIn))
COMPARE = {one: other for pair in PAIRS for one, other in (pair, pair[::-1])}
BINARY = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
LIBRARIES = (
    "cryptography.hazmat.primitives.asymmetric.ed25519",
    "hypothesis.internal.conjecture.engine",
    "hypothesis.strategies",
    "msgspec",
    "numpy.random",
    "rich.console",
    "scipy.integrate",
    "typer",
)  # imported once, before any copy is made

Point = tuple[int, str]  # place in the tree, kind of change
Tell = Callable[[object], None]


# ---- the changes


def points(source: str) -> list[Point]:
    """Places that may be changed, and how; not within annotations."""
    tree = ast.parse(source)
    noted: set[int] = set()
    for node in ast.walk(tree):
        for field in ("annotation", "returns"):
            if isinstance(note := getattr(node, field, None), ast.AST):
                noted.update(id(each) for each in ast.walk(note))
    kinds = ((index, id(node) not in noted and _kind(node)) for index, node in enumerate(ast.walk(tree)))
    return [(index, kind) for index, kind in kinds if kind]


def _kind(node: ast.AST) -> str:
    if isinstance(node, ast.Constant):
        number = isinstance(node.value, int | float)
        return "flip" if isinstance(node.value, bool) else "number" if number else ""
    fits = {
        "compare": isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARE,
        "arithmetic": isinstance(node, ast.BinOp) and type(node.op) in BINARY,
        "and/or": isinstance(node, ast.BoolOp),
        "not": isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not),
        "if-expression": isinstance(node, ast.IfExp),
        "if": isinstance(node, ast.If),
        "call dropped": isinstance(node, ast.Expr) and isinstance(node.value, ast.Call),
        "continue": isinstance(node, ast.Continue),
    }
    return next((kind for kind, does in fits.items() if does), "")


def mutated(source: str, point: Point) -> tuple[str, int, str]:
    """The file with one change, the line of it, and what was changed into what."""
    tree = ast.parse(source)
    node: Any = list(ast.walk(tree))[point[0]]
    line, before = getattr(node, "lineno", 0), ast.unparse(node)[:90]
    _change(node, point[1])
    ast.fix_missing_locations(tree)
    return ast.unparse(tree), line, f"{point[1]}: {before}  ->  {ast.unparse(node)[:90]}"


def _change(node: Any, kind: str) -> None:
    match kind:
        case "compare":
            node.ops[0] = COMPARE[type(node.ops[0])]()
        case "arithmetic":
            node.op = BINARY[type(node.op)]()
        case "and/or":
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        case "not":
            inner = node.operand
            node.__class__, node.__dict__ = inner.__class__, dict(inner.__dict__)
        case "number":
            node.value = node.value + 1 if isinstance(node.value, int) else (node.value * 1.25 or 0.5)
        case "flip":
            node.value = not node.value
        case "if-expression":
            node.body, node.orelse = node.orelse, node.body
        case "if":
            node.test = ast.UnaryOp(ast.Not(), node.test)
        case "call dropped":
            node.value = ast.Constant(None)
        case "continue":
            node.__class__ = ast.Pass


# ---- a mutant's code in the functions of a running process


def codes(text: str, file: Path) -> list[types.CodeType]:
    """Every code of a file, from outside in."""
    found = [compile(text, str(file), "exec")]
    for one in found:
        found.extend(each for each in one.co_consts if isinstance(each, types.CodeType))
    return found


def _own(code: types.CodeType) -> tuple[object, ...]:
    """What a code does itself, without the codes within it."""
    inner = [repr(each) for each in code.co_consts if not isinstance(each, types.CodeType)]
    return code.co_code, inner, code.co_names, code.co_varnames, code.co_freevars


def _within(outer: types.CodeType, inner: types.CodeType) -> bool:
    return any(
        each is inner or _within(each, inner) for each in outer.co_consts if isinstance(each, types.CodeType)
    )


def patched(functions: list[types.FunctionType], file: Path, source: str, text: str) -> bool:
    """Give the functions the mutant's code; False if the change is not in a function that is there."""
    now, plain, then = (codes(each, file) for each in (source, ast.unparse(ast.parse(source)), text))
    names = [[one.co_qualname for one in each] for each in (now, plain, then)]
    if not names[0] == names[1] == names[2]:
        return False
    changed = [at for at, (a, b) in enumerate(zip(plain, then, strict=True)) if _own(a) != _own(b)]
    if not changed or any(not then[at].co_flags & 1 for at in changed):  # 1: of a function, not of a class
        return False
    places = {(one.co_qualname, one.co_firstlineno): at for at, one in enumerate(now)}
    met = 0
    for function in functions:
        at = places.get((function.__code__.co_qualname, function.__code__.co_firstlineno))
        if at is not None and any(each == at or _within(then[at], then[each]) for each in changed):
            function.__code__ = then[at]
            met += 1
    for kept in (each for each in gc.get_objects() if isinstance(each, functools._lru_cache_wrapper)):
        kept.cache_clear()
    return met > 0


def broken(functions: list[types.FunctionType]) -> None:
    """No function works."""

    def raises(*_: object, **__: object) -> None:
        raise RuntimeError("no function of this file works")

    for function in functions:
        if not function.__code__.co_freevars:
            function.__code__ = raises.__code__


# ---- processes


def spent() -> float:
    """Processor time of this process and of those that it waited for. [s]"""
    return sum(os.times()[:4])


def forked(work: Callable[[Tell], None]) -> tuple[int, list[Any]]:
    """How a copy of this process ended, and what it told while it worked."""
    here, there = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(here)
        code = 1
        try:
            with os.fdopen(there, "w", buffering=1) as stream:
                work(lambda told: print(json.dumps(told), file=stream))
            code = 0
        finally:
            os._exit(code)
    os.close(there)
    with os.fdopen(here, "rb") as stream:
        told = [json.loads(line) for line in stream]
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), told


class Warm:
    """The tests, collected once, and what became of each mutant."""

    def __init__(self, file: Path, source: str, chosen: list[Point], asked: argparse.Namespace) -> None:
        self.file, self.source, self.chosen, self.asked = file, source, chosen, asked
        self.items: dict[str, pytest.Item] = {}
        self.took: dict[str, float] = {}
        self.lines: dict[str, set[int]] = {}
        self.found: Counter[str] = Counter()
        self.survivors: list[int] = []
        self.outside: list[int] = []
        self.trouble = ""
        self._failed = False
        self._said = os.fdopen(os.dup(1), "w", buffering=1)

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Instead of the usual run."""
        self.items = {item.nodeid: item for item in session.items}
        gc.unfreeze()
        self.functions = [
            one
            for one in gc.get_objects()
            if isinstance(one, types.FunctionType) and one.__code__.co_filename == str(self.file)
        ]
        if not self._controls():
            return True
        for at, point in enumerate(self.chosen):
            text, line, what = mutated(self.source, point)
            _, told = forked(lambda tell, text=text, line=line: self._tried(text, line, tell))
            if told == ["outside"]:
                self.outside.append(at)
            elif killer := _failing(told):
                self.found[killer] += 1
                if len(told) % 2:
                    print(f"  does not end: line {line}, {what}", file=self._said)
            else:
                self.survivors.append(at)
                print(f"  SURVIVES line {line}, {what}", file=self._said)
        return True

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._failed |= report.failed

    def _controls(self) -> bool:
        """Every test passes, the cheap ones are kept with the lines they meet; if nothing works some fail."""
        if self.asked.first:
            first = next(name for name in self.items if self.asked.first in name)
            self._one(first, next(name for name in self.items if name.split("/")[1] != first.split("/")[1]))
        _, told = forked(lambda tell: self._run(list(self.items), tell, stop=False))
        bad = [name for name, (_, failed) in zip(told[::2], told[1::2], strict=False) if failed]
        if bad or len(told) != 2 * len(self.items):
            self.trouble = f"without a mutant there fail: {bad or told[-1:]}"
            return False
        self.took = {name: took for name, (took, _) in zip(told[::2], told[1::2], strict=True)}
        whole = 0.0
        for name in sorted(self.items, key=self.took.__getitem__):
            whole += self.took[name]
            if whole > self.asked.budget:
                del self.items[name]
        _, seen = forked(self._traced)
        self.lines = {name: set(lines) for name, lines in seen}
        _, told = forked(self._broken)
        print(
            f"{self.asked.file}: {len(self.items)} of {len(self.took)} tests are asked. Without a mutant all "
            f"pass; where every function raises {'one fails' if _failing(told) else 'NONE FAILS'}",
            file=self._said,
        )
        if not _failing(told):
            self.trouble = "a file of which no function works is not noticed"
        return not self.trouble

    def _broken(self, tell: Tell) -> None:
        broken(self.functions)
        self._run(self._ordered(0), tell)

    def _one(self, name: str, after: str | None) -> None:
        item = self.items[name]
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=self.items[after] if after else None)

    def _run(self, names: list[str], tell: Tell, *, stop: bool = True) -> None:
        """One test after the other, until one fails."""
        for name, after in zip(names, [*names[1:], None], strict=True):
            tell(name)
            patience = PATIENCE[0] + PATIENCE[1] * self.took.get(name, 60.0)
            signal.setitimer(signal.ITIMER_PROF, patience)  # of the processor: another's load does not count
            signal.alarm(int(30.0 * patience))
            begun = spent()
            self._one(name, after)
            signal.alarm(0)
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            tell([spent() - begun, self._failed])
            if self._failed and stop:
                return

    def _traced(self, tell: Tell) -> None:
        """Which lines of the file each test goes through."""
        lines: set[int] = set()

        def called(frame: types.FrameType, _: str, __: object) -> Any:
            if frame.f_code.co_filename != str(self.file):
                return None
            lines.add(frame.f_lineno)
            return within

        def within(frame: types.FrameType, _: str, __: object) -> Any:
            lines.add(frame.f_lineno)
            return within

        names = list(self.items)
        for name, after in zip(names, [*names[1:], None], strict=True):
            lines.clear()
            sys.settrace(called)
            self._one(name, after)
            sys.settrace(None)
            tell([name, sorted(lines)])

    def _ordered(self, line: int) -> list[str]:
        """Tests that go through a line, or else through any; the best at finding come first."""
        meet = [name for name in self.items if line in self.lines.get(name, ())]
        meet = meet or [name for name in self.items if self.lines.get(name)]
        return sorted(meet, key=lambda name: (-self.found[name] / (0.05 + self.took[name]), self.took[name]))

    def _tried(self, text: str, line: int, tell: Tell) -> None:
        names = self._ordered(line)
        if patched(self.functions, self.file, self.source, text):
            self._run(names, tell)
        else:
            tell("outside")


def _failing(told: list[Any]) -> str:
    """The test that failed, or did not come to its end; "" if none."""
    if len(told) % 2:
        return str(told[-1])
    return str(told[-2]) if told and told[-1][1] else ""


class First:
    """Only these tests, in this order."""

    def __init__(self, names: list[str]) -> None:
        self.place = {name: at for at, name in reversed(list(enumerate(names)))}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.place), key=lambda item: self.place[item.nodeid]
        )


def asked_pytest(asked: argparse.Namespace, plugin: object, *more: str) -> int:
    """Without a word."""
    null = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(null, stream)
    options = ("-q", "-n", "0", "-p", "no:randomly", "-p", "no:cacheprovider", "--tb=no", "-k", asked.keyword)
    known = ("-W", "ignore:Module already imported", "-W", "ignore:This process")
    return int(pytest.main([*options, *known, *more, *asked.tests], plugins=[plugin]))


def tried(asked: argparse.Namespace, copy: Path) -> None:
    """All mutants of the file, in a copy of the project."""
    file = copy / asked.file
    source = file.read_text()
    of_seed = {}
    for seed in asked.seed:
        of_seed[seed] = points(source)
        random.Random(seed).shuffle(of_seed[seed])
        del of_seed[seed][asked.count :]
    chosen = list(dict.fromkeys(point for each in of_seed.values() for point in each))
    if asked.line:
        chosen = [point for point in chosen if mutated(source, point)[1] in asked.line]
    warm = Warm(file, source, chosen, asked)

    def collected(tell: Tell) -> None:
        asked_pytest(asked, warm)
        tell(
            [
                warm.survivors,
                warm.outside,
                warm.trouble,
                [n for n, _ in warm.found.most_common(5)],
                list(warm.items),
            ]
        )

    _, told = forked(collected)
    if not told or told[0][2]:
        sys.exit(f"{asked.file}: {told[0][2] if told else 'the tests cannot be collected'}")
    survivors, outside, _, best, cheap = told[0]
    for at in outside:
        text, line, what = mutated(source, chosen[at])
        file.write_text(text)
        os.utime(file, (1e9 + 10 * at,) * 2)  # or a compiled file of the mutant before it would be taken
        status, told = forked(lambda tell: cold(asked, First([*best, *cheap]), tell))
        if (status, told) == (0, [0]):
            survivors.append(at)
            print(f"  SURVIVES line {line}, {what}", flush=True)
    left = {chosen[at] for at in survivors}
    for seed, each in of_seed.items():
        print(f"{asked.file} seed {seed}: {sum(point not in left for point in each)} of {len(each)} killed")


def cold(asked: argparse.Namespace, first: First, tell: Tell) -> None:
    """All of it imported anew."""
    signal.alarm(COLD)
    tell(asked_pytest(asked, first, "-x"))


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("file")
    take.add_argument("--tests", nargs="+", required=True)
    take.add_argument("--seed", type=int, nargs="+", default=[7])
    take.add_argument("--count", type=int, default=40, help="mutants of each seed")
    take.add_argument(
        "--budget", type=float, default=5.0, help="processor seconds of tests; the cheap ones are taken"
    )
    take.add_argument(
        "--first", default="", help="a test that runs before any copy is made, for what all share"
    )
    take.add_argument("--line", type=int, nargs="+", help="only the mutants of these lines")
    take.add_argument("-k", dest="keyword", default="", help="as for pytest")
    asked = take.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder, "copy")
        shutil.copytree(".", copy, ignore=shutil.ignore_patterns(".venv", ".git", ".*_cache"))
        os.chdir(copy)
        os.environ.update(PYTHONPATH=str(copy), CI="1")
        sys.path[:] = [str(copy), *(each for each in sys.path if not Path(each, "pyproject.toml").is_file())]
        for name in [name for name in sys.modules if name.split(".")[0] in {"tests", "curewatch"}]:
            del sys.modules[name]
        for name in LIBRARIES:
            __import__(name)
        tried(asked, copy)


if __name__ == "__main__":
    main()
