"""A refusal reads WHAT: found VALUE. Use X."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import curewatch

OLD = ("; allowed", "allowed:", "allowed is", "; wanted", "; known:", "; there are", "is there already")
ERRORS = {"UsageError", "ConfigurationError", "ValueError", "StoreFailed"}
DEFECT = 'raise UsageError(f"--every: {every:g} s; allowed: 0.1 to 3600")'


def refusals(source: str) -> Iterator[str]:
    """The literal words of every error that is raised."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ERRORS:
            words = [one.value for one in ast.walk(node) if isinstance(one, ast.Constant)]
            yield " ".join(word for word in words if isinstance(word, str))


def found(source: str) -> list[str]:
    """Refusals in a form that says what is allowed, and not what to do."""
    if not any(old in source for old in OLD):
        return []
    return [words for words in refusals(source) if any(old in words for old in OLD)]


def test_no_refusal_has_the_old_form() -> None:
    """In every module; the control is found."""
    assert found(DEFECT)
    files = sorted(Path(curewatch.__file__).parent.rglob("*.py"))
    assert {str(file): old for file in files if (old := found(file.read_text("utf-8")))} == {}


@pytest.mark.parametrize("words", ["--every: found 0 s. Use 0.1 to 3600 s"])
def test_the_form_itself_passes(words: str) -> None:
    """What is wanted is not called a fault."""
    assert found(f"raise UsageError({words!r})") == []
