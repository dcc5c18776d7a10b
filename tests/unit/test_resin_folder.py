"""A resin in the user's folder is as good as a built-in one: listed, compared, and named at every bench."""

import json
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.materials.maker_sheet import form_text

MINE = 'name = "mine"\ntitle = "Mine"\nbased_on = "epoxy-slow"\nnote = "demo"\nversion = 1\n'


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """A configuration whose folder holds one resin, and beside it the sheet that somebody typed."""
    folder = tmp_path / "resins"
    folder.mkdir()
    (folder / "mine.toml").write_text(MINE, encoding="utf-8")
    (folder / "mine.sheet.toml").write_text(form_text(), encoding="utf-8")
    file = tmp_path / "curewatch.toml"
    file.write_text(f'[logbook]\npath = "{tmp_path / "log"}"\n[resin]\nfolder = "resins"\n', encoding="utf-8")
    return file


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, object]:
    """What a command answers."""
    with pytest.raises(SystemExit, match="0"):
        run([*arguments, "--json"])
    answer: dict[str, object] = json.loads(capsys.readouterr().out)
    return answer


def test_it_is_listed_and_compared(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Once, and the typed sheet is no resin."""
    for command in (("list",), ("compare", "--temperature", "15", "--humidity", "60")):
        rows = said(capsys, "resin", *command, "--config", str(shed))["resins"]
        assert isinstance(rows, list)
        names = [row["name"] if "name" in row else row["resin"] for row in rows]
        assert [name for name in names if name.startswith("mine")] == ["mine"]


def test_it_can_be_named(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By `cure` and by a job with its batch; a name that nobody knows is refused with those there are."""
    at = ("--config", str(shed))
    assert said(capsys, "cure", "--resin", "mine", "--temperature", "15", *at)["resin"] == "mine"
    said(capsys, "job", "open", "--title", "rudder cheek", "--resin", "mine", *at)
    masses = ("--resin-mass", "200 g", "--hardener-mass", "44 g")
    said(capsys, "job", "batch", "--resin", "mine", *masses, *at)
    with pytest.raises(SystemExit, match="2"):
        run(["job", "open", "--title", "another", "--resin", "mien", "--name", "b", *at])
    shown = capsys.readouterr().err
    assert "mien" in shown
    assert "mine" in shown.replace("mien", "")
