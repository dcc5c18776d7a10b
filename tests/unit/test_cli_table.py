"""The table of commands: quick to show, and honest about what it does not know."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import curewatch
from curewatch.cli.main import COMMANDS, GROUPS, run
from curewatch.errors import ExitStatus


def test_help_lists_every_command_and_imports_none_of_them() -> None:
    """Showing the table costs neither numpy nor a validation library nor any command's module."""
    program = (
        "import sys\nfrom curewatch.cli.main import run\n"
        "try: run(['--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'rich', 'pydantic', 'scipy', 'pandas', 'paho', 'serial', 'sqlite3'}\n"
        "commands = [name for name in sys.modules if name.startswith('curewatch.cli.commands.')]\n"
        "print(sorted(heavy & set(sys.modules)), commands)"
    )
    shown = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert shown.splitlines()[-1] == "[] []"
    for name in COMMANDS:
        assert f"\n  {name.partition(' ')[0]} " in shown


def test_help_fits_eighty_columns() -> None:
    """No line of the first screen is longer than a small terminal is wide."""
    shown = subprocess.run(
        [sys.executable, "-m", "curewatch", "--help"], capture_output=True, text=True, check=True
    ).stdout
    assert max(map(len, shown.splitlines())) <= 80


def test_a_mistyped_command_is_told_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, exit status 2, nothing on stdout."""
    with pytest.raises(SystemExit) as stop:
        run(["tonigt"])
    assert stop.value.code == ExitStatus.USAGE
    said = capsys.readouterr()
    assert said.err == "curewatch: there is no command 'tonigt'; did you mean `curewatch tonight`?\n"
    assert said.out == ""


def test_a_group_shows_its_own_commands(capsys: pytest.CaptureFixture[str]) -> None:
    """``resin --help`` lists from the table what several files hold."""
    with pytest.raises(SystemExit):
        run(["resin", "--help"])
    shown = capsys.readouterr().out
    assert all(f"\n  {word} " in shown for word in ("list", "show", "fit", "compare"))
    with pytest.raises(SystemExit):
        run(["resin", "shw"])
    assert "did you mean `curewatch resin show`?" in capsys.readouterr().err


def test_every_two_word_name_stands_in_a_group_with_a_line() -> None:
    """A group without a line of help would be shown as one of its commands."""
    assert {name.partition(" ")[0] for name in COMMANDS if " " in name} == set(GROUPS)


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("curewatch re", ["resin", "replay", "record"]),
        ("curewatch resin ", ["list", "show", "fit", "compare"]),
        ("curewatch tonight --re", ["--resin"]),
        ("curewatch explain vit", ["vitrification"]),
    ],
)
@pytest.mark.few(2)
def test_the_shell_completes_commands_options_and_terms(typed: str, offered: list[str]) -> None:
    """What bash asks for is answered from the table, or from the one command that was typed."""
    asked = {
        "_CUREWATCH_COMPLETE": "bash_complete",
        "COMP_WORDS": typed,
        "COMP_CWORD": str(len(typed.split(" ")) - 1),
    }
    answer = subprocess.run(
        [sys.executable, "-m", "curewatch"],
        env={**os.environ, **asked},
        capture_output=True,
        text=True,
        check=True,
    )
    assert answer.stdout.split() == [f"plain,{each}" for each in offered]


@pytest.mark.parametrize(
    ("shell", "begins"),
    [
        ("zsh", "#compdef curewatch"),
        pytest.param("bash", "complete -o nosort -F", marks=pytest.mark.long),
        pytest.param("fish", "complete --no-files --command curewatch", marks=pytest.mark.long),
    ],
)
def test_the_shell_is_told_how_to_complete(shell: str, begins: str) -> None:
    """For bash, zsh and fish, by name; started by a program, not from a shell."""
    script = subprocess.run(
        [sys.executable, "-m", "curewatch", "--completion", shell],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert "_CUREWATCH_COMPLETE" in script
    assert begins in script
    with pytest.raises(SystemExit) as stop:
        run(["--completion", "tcsh"])
    assert stop.value.code == ExitStatus.USAGE


PRIVATE = re.compile(
    r"^\s*(?:from|import) (?!curewatch)\w[\w.]*\._(?!_)|^\s*from (?!curewatch)\w[\w.]* import _(?!_)"
    r"|\b_(?:TYPER|CLICK)_|\b(?:typer|click|msgspec|paho|numpy|np|rich|serial)\._(?!_)",
    re.M,
)


def test_no_private_part_of_a_library_is_used() -> None:
    """What a library names with an underscore may be gone in its next version: modules, names, variables."""
    for control in ("from typer._click.exceptions import UsageError", 'environ["_TYPER_TEST"]', "np._core"):
        assert PRIVATE.search(control)
    root = Path(curewatch.__file__).parent
    used = [str(path) for path in root.rglob("*.py") if PRIVATE.search(path.read_text(encoding="utf-8"))]
    assert used == []
    assert "._add_completion" not in (root / "cli" / "main.py").read_text(encoding="utf-8")


@pytest.mark.parametrize("typed", ["--help", "layup --help", "tonight --help", "resin --help"])
def test_help_breaks_between_words_on_a_narrow_terminal(
    typed: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At 40 columns no row is wider, and every word is whole: one of those at 80."""
    words = {}
    for columns in ("80", "40"):
        monkeypatch.setenv("COLUMNS", columns)
        with pytest.raises(SystemExit):
            run(typed.split())
        out = capsys.readouterr().out
        words[columns] = {word for word in out.split() if word.isalpha()}
        assert all(len(row) <= int(columns) or " " not in row.strip() for row in out.splitlines())
    assert words["40"] == words["80"]
