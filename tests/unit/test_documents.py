"""The documents are true: links lead somewhere, and what there is stands in them."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.cli.commands.manual import ENVIRONMENT, every_command
from curewatch.configuration import Configuration
from tests import documents

PACKAGE = documents.PACKAGE / "curewatch"


def test_every_link_inside_the_repository_exists() -> None:
    """File and heading."""
    for document in documents.documents():
        for path, heading in documents.links(document):
            target = documents.linked(document, path)
            assert target.exists(), f"{document.name}: {path}"
            if heading:
                assert heading in documents.headings(target), f"{document.name}: {path}#{heading}"


def test_every_key_of_the_configuration_stands_in_its_example() -> None:
    """The example that `setup --example` prints leaves none out."""
    text = configuration.example()
    for section, field in Configuration.model_fields.items():
        assert f"[{section}" in text, section
        kind = field.annotation
        inside = getattr(kind, "__args__", (None, kind))[-1]
        for key in inside.model_fields:
            assert re.search(rf"^(# )?{key} = ", text, re.MULTILINE), f"[{section}] {key}"


def test_every_variable_of_the_environment_stands_on_the_manual_page() -> None:
    """What the program reads from its environment under its own name is told."""
    read = {
        name.removesuffix("_")
        for path in PACKAGE.rglob("*.py")
        for name in re.findall(r"\bCUREWATCH_[A-Z_]+", path.read_text(encoding="utf-8"))
    }
    assert read - {"CUREWATCH_COMPLETE", "CUREWATCH_MQTT_PASSWORD_NAME"} == {
        name for name in ENVIRONMENT if name.startswith("CUREWATCH_")
    }


def test_every_command_stands_in_the_readme() -> None:
    """Nobody has to guess that a command is there."""
    readme = (documents.ROOT / "README.md").read_text(encoding="utf-8")
    for name in {name.partition(" ")[0] for name, _ in every_command()} - {"ingest"}:
        assert re.search(rf"curewatch {name}\b", readme), name
    assert "runs the daemon" in readme


def test_the_two_commands_of_the_readme_are_those_that_are_checked() -> None:
    """What a stranger types first is what the check of every change types, too."""
    readme = (documents.ROOT / "README.md").read_text(encoding="utf-8")
    install_and_test = (
        "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/python -m pytest"
    )
    assert f"```sh\n{install_and_test}\n```" in readme
    assert install_and_test in (documents.ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/curewatch demo" in readme


@pytest.mark.parametrize("document", documents.documents(), ids=lambda path: path.name)
def test_no_document_names_what_belongs_to_the_workplace(document: Path) -> None:
    """Numbers of tickets and folders of this machine mean nothing to a reader."""
    text = document.read_text(encoding="utf-8")
    assert not re.search(r"\bissue \d|/work/|\bhelper\b|\bagent\b", text, re.IGNORECASE)


def developers() -> str:
    return (documents.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_name_of_the_nomenclature_is_used_in_the_code() -> None:
    """The table of names speaks of this program."""
    table = developers().partition("## Nomenclature")[2].partition("\n## ")[0]
    names = {
        name
        for row in re.findall(r"^\| (`[^|]*) \|", table, re.MULTILINE)
        for name in re.findall(r"`(\w+)`", row)
    }
    code = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    assert len(names) > 40
    assert {name for name in names if not re.search(rf"\b{name}\b", code)} == set()


def test_every_file_and_program_that_developers_are_told_of_exists() -> None:
    """Paths between backticks lie in the package or in the repository; modules to run can be found."""
    told = developers()
    topics = told.partition("### What is published")[2].partition("\n## ")[0]
    for path in re.findall(r"`((?:[a-z_]+/)+[a-zA-Z_]*(?:\.\w+)?)`", told.replace(topics, "")):
        if "MODULE" in path:
            continue  # whatever its name will be
        whole = any((beside / path).exists() for beside in (documents.ROOT, documents.PACKAGE))
        assert whole or any(PACKAGE.glob(f"**/{path.rstrip('/')}*")), path
    for module in re.findall(r"python -m (tests[\w.]+)", told):
        if "bench_NAME" not in module:
            assert (documents.ROOT / module.replace(".", "/")).with_suffix(".py").exists(), module


def test_every_benchmark_stands_in_the_table() -> None:
    """Each prints figures, and each has a line."""
    table = developers().partition("## Benchmarks")[2].partition("\n## ")[0]
    for path in (documents.ROOT / "tests" / "benchmarks").glob("bench_*.py"):
        assert f"`{path.stem}`" in table, path.name


@pytest.mark.long
def test_bash_completes_what_is_typed(tmp_path: Path) -> None:
    """The script that --show-completion prints, in a real bash: commands, a group's commands, options."""
    script = subprocess.run(
        [sys.executable, "-m", "curewatch", "--show-completion", "bash"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    (tmp_path / "completion.sh").write_text(script)
    program = tmp_path / "curewatch"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m curewatch "$@"\n')
    program.chmod(0o755)
    asked = f"""
    PATH={tmp_path}:$PATH
    export PYTHONPATH={documents.PACKAGE}
    . {tmp_path}/completion.sh
    handler=$(complete -p curewatch | sed 's/.*-F \\([^ ]*\\) .*/\\1/')
    ask() {{
        COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=()
        $handler curewatch
        echo "${{COMPREPLY[@]}}"
    }}
    ask curewatch lo
    ask curewatch job pe
    ask curewatch windows --cal
    """
    answer = subprocess.run(["bash", "-c", asked], capture_output=True, text=True, check=True)
    assert answer.stdout.split() == ["logbook", "peel-ply", "--calendar"], answer.stderr
