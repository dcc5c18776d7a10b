"""`curewatch page`: a code is shown once, listed without its secret, taken back; who reads along is said."""

import json
from pathlib import Path
from typing import Any

import pytest

from curewatch import square
from curewatch.cli.main import run
from curewatch.page import tokens


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    configure(tmp_path, 'address = "192.0.2.7"\n')
    return tmp_path


def configure(folder: Path, page: str) -> None:
    text = f'[page]\non = true\n{page}[logbook]\npath = "logbook.sqlite"\n'
    (folder / "curewatch.toml").write_text(text)


def typed(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as stop:
        run(["page", *words])
    said = capsys.readouterr()
    return int(stop.value.code or 0), said.out, said.err


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(typed(capsys, *words, "--json")[1])
    return found


def test_a_code_is_shown_once_and_kept_as_its_digest(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The address with the token, a square, and that others on the network read along."""
    status, shown, _ = typed(capsys, "--kind", "write", "--name", "my phone")
    address = next(line for line in shown.splitlines() if line.startswith("http"))
    secret = address.rpartition("/")[2]
    assert status == 0
    assert address == f"http://192.0.2.7:8737/enter/{secret}"
    assert "Plain HTTP: whoever is on this network can read along" in shown
    assert all(line.rstrip() in shown for line in square.of_address(address))
    assert not all(line.rstrip() in shown for line in square.of_address(address[:-1]))
    path = folder / "logbook.sqlite.tokens"
    assert path.stat().st_mode & 0o777 == 0o600
    assert secret not in path.read_text()
    assert tokens.TokenKeeper(path).kind(secret) is tokens.TokenKind.WRITE
    listed = typed(capsys, "--list")[1]
    assert listed.startswith("1 write my phone, made ")
    assert secret not in listed


def test_codes_are_numbered_once_and_taken_back(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A number is not given again; one that is not there is refused with those that are."""
    feed = answer(capsys, "--kind", "calendar")
    assert feed["address"].endswith(".ics")
    assert feed["tokens"] == [feed["made"]]
    assert answer(capsys, "--revoke", "1")["tokens"] == []
    assert answer(capsys)["made"]["number"] == 2
    status, _, said = typed(capsys, "--revoke", "1")
    assert (status, said) == (2, "curewatch: --revoke: found 1. Use a number of --list: 2\n")


def test_the_address_is_the_one_that_a_phone_needs(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the machine's name where it has one; the warning where others could read."""
    tls = 'certificate_file = "a.pem"\nkey_file = "a.key"\naddress = "192.0.2.7"\n'
    for page, expected, warned in (
        ("", "http://127.0.0.1:8737", False),
        (tls, "https://192.0.2.7:8737", False),
        ('address = "::1"\nport = 9000\n', "http://[::1]:9000", False),
        ('address = "0.0.0.0"\nnames = ["shed.example"]\n', "http://shed.example:8737", True),
    ):
        configure(folder, page)
        made = answer(capsys)
        assert made["address"].startswith(f"{expected}/enter/")
        assert bool(made["warning"]) is warned


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--kind", "admin"), "--kind: found 'admin'. Use view, write or calendar"),
        (("--name", "x" * 41), "--name: found 41 characters. Use at most 40"),
    ],
)
def test_what_is_not_known_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    """One sentence, and nothing is written."""
    assert typed(capsys, *words)[::2] == (2, f"curewatch: {said}\n")
    assert not (folder / "logbook.sqlite.tokens").exists()


def test_a_page_that_is_off_gives_no_code(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It would open nothing."""
    (folder / "curewatch.toml").write_text("")
    status, _, said = typed(capsys)
    assert status == 2
    assert "Use `on = true` under [page]" in said


def test_a_file_of_tokens_that_is_none_or_open_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rubbish, another form, open to others: what to do is said; nothing is overwritten."""
    path = folder / "logbook.sqlite.tokens"
    for content in ("rubbish", '{"following": "x"}', '{"following": 1, "tokens": [{"number": 1}]}', "[]"):
        path.write_text(content)
        path.chmod(0o600)
        status, _, said = typed(capsys)
        assert status == 1
        assert "found no list of tokens" in said
        assert path.read_text() == content
    path.chmod(0o640)
    assert f"Use chmod 600 {path}" in typed(capsys)[2]


def test_one_code_opens_the_page_of_all_sheds(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It stands beside the common logbook; a shed that is named is refused, since the page is of all."""
    text = '[page]\non = true\n[logbook]\npath = "logbook.sqlite"\n[sheds.big]\n[sheds.small]\n'
    (folder / "curewatch.toml").write_text(text)
    assert answer(capsys)["address"].startswith("http://127.0.0.1:8737/enter/")
    assert [each.name for each in folder.glob("*.tokens")] == ["logbook.sqlite.tokens"]
    status, _, said = typed(capsys, "--shed", "big")
    assert status == 2
    assert "--shed: found 'big'. One daemon and its page serve all sheds. Leave it out" in said
