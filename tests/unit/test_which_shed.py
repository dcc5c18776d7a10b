"""``--shed``: one option for every command, before it or behind it; no shed is ever guessed."""

from pathlib import Path

import pytest

from curewatch.cli import main, which_shed
from curewatch.cli.commands.manual import every_command
from curewatch.configuration import loading

FACTS = 'name = "Saltmarsh Shed"\nboat = "Kittiwake Nine"\n'
ONE = f'[shed]\n{FACTS}[sensors.bench]\nrole = "air"\n[logbook]\npath = "kept.sqlite"\n'
SEVERAL = f"""
[sheds.creek]
{FACTS}
[sheds.creek.sensors.bench]
role = "air"
[sheds.creek.logbook]
path = "kept.sqlite"
[sheds.quay.sensors.loft]
role = "air"
[sheds.quay.logbook]
path = "quay.sqlite"
"""


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main.run(list(words))
    shown = capsys.readouterr()
    return int(ended.value.code or 0), shown.out, shown.err


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(which_shed.VARIABLE, raising=False)
    (tmp_path / "curewatch.toml").write_text(SEVERAL)
    (tmp_path / "one.toml").write_text(ONE)
    return tmp_path


def test_every_command_that_reads_a_configuration_has_it() -> None:
    """And none has it twice; those that answer for each shed are commands that there are."""
    found = {
        name: [option for each in command.params for option in each.opts] for name, command in every_command()
    }
    for name in ("fleet settle", "fleet page"):  # of a fleet, whose plan they read
        del found[name]
    for name, options in found.items():
        assert options.count("--shed") == ("--config" in options), name
    assert set(found) >= which_shed.FOR_EACH


def test_a_chosen_shed_answers_as_if_it_were_alone(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Byte by byte, told and asked: before the command, behind it, and in the environment."""
    told = run(capsys, "job", "open", "--title", "cheek", "--shed", "creek")
    assert told[0] == 0, told
    for words in (
        ["tonight", "--why"],
        ["alerts"],
        ["logbook", "status"],
        ["sensor", "list"],
        ["job", "show"],
    ):
        alone = run(capsys, *words, "--config", "one.toml")
        assert run(capsys, *words, "--shed", "creek") == alone
        assert run(capsys, "--shed", "creek", *words) == alone
    assert run(capsys, "--shed", "quay", "logbook", "status", "--shed", "creek")[0] == 0
    assert not (yard / "quay.sqlite").exists()


def test_a_reader_answers_for_each_shed(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What goes wrong with one does not hide the other, and the status is the worst."""
    run(capsys, "job", "open", "--title", "cheek", "--shed", "creek")
    status, out, err = run(capsys, "logbook", "status")
    alone = run(capsys, "logbook", "status", "--config", "one.toml")[1]
    assert out == f"[creek] Saltmarsh Shed\n{alone}\n[quay]\n"
    assert "curewatch: quay: there is no logbook" in err
    assert status == 1
    assert run(capsys, "tonight")[0] == 4


@pytest.mark.parametrize(
    "words",
    [
        ["layer", "--resin", "epoxy-slow"],
        ["observe", "gelled"],
        ["bench"],
        ["job", "open", "--title", "rudder cheek"],
        ["alerts", "--acknowledge", "all"],
        ["logbook", "seal"],
        ["logbook", "prune", "--older-than", "400"],
        ["logbook", "verify", "--code", "x"],
        ["record", "write", "--output", "r"],
        ["tabs", "lay", "a", "b"],
        ["sensor", "check", "bench"],
        ["tonight", "--json"],
        ["forecast", "forecast.csv"],
        ["cure", "--temperature", "12"],
    ],
)
def test_whoever_writes_names_the_shed(
    yard: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    """Without a name, or with one that is none, nothing is written, and the names are listed."""
    for more, found in (([], "2 sheds and none named"), (["--shed", "attic"], "'attic'")):
        status, out, err = run(capsys, *words, *more)
        assert (status, out) == (2, ""), (out, err)
        assert f"--shed: found {found}. Use one of creek, quay" in err
    assert sorted(each.name for each in yard.iterdir()) == ["curewatch.toml", "one.toml"]


@pytest.mark.long
def test_what_needs_no_shed_asks_for_none(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (
        ["resin", "list"],
        ["cure", "--resin", "vinyl-ester", "--temperature", "20"],
        ["air", "12", "80"],
    ):
        assert run(capsys, *words)[0] == 0


def test_the_one_shed_needs_no_name(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "tonight", "--config", "one.toml", "--shed", "creek")
    assert status == 2
    assert "the configuration has one shed. Leave it out" in err


def test_a_command_reads_the_file_once(
    yard: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who asks for the sheds and who answers go by one reading of it, however it was named."""
    read: list[object] = []
    parse = loading.parse
    monkeypatch.setattr(loading, "parse", lambda text, file=None: read.append(file) or parse(text, file))
    for words in (("--config", "one.toml"), ()):
        read.clear()
        run(capsys, "tonight", *words)
        assert len(read) == 1, words
