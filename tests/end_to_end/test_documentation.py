"""Every command helps itself: its example runs, every option is told, the manual page is clean."""

import os
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from curewatch.cli.commands.manual import every_command, page
from curewatch.cli.main import COMMANDS, run
from curewatch.clock import SystemClock
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from tests import documents

ROOT = Path(__file__).parents[2]  # where README.md stands: the repository, or what CI copied of it
MANUAL = page().replace("\\-", "-").replace("\\e", "\\")
ANSWERED = {0, 3, 4}  # done or go, no-go, unknown
# commands that go on until somebody ends them, with what makes them end by themselves
LIVE = {
    "setup": ["--example"],
    "watch": ["--once", "--look"],
    "ingest": ["--help"],
    "simulate": ["--file", "-", "--count", "2"],
    "demo": ["--help"],
    "bench": ["--help"],
    "fleet look": ["--help"],
    "fleet serve": ["--help"],
    "fleet send": ["--help"],
}
# what must have been typed before an example makes sense
BEFORE = {
    "record verify": ["curewatch record write rudder-cheek --output records"],
    "record show": ["curewatch record write rudder-cheek --output records"],
    "tabs show": ["curewatch tabs lay epoxy-slow epoxy-fast"],
    "tabs broke": ["curewatch tabs lay epoxy-slow epoxy-fast"],
    "job reopen": ["curewatch job close --outcome done"],
}
SLOW = {
    "watch",
    "windows",
    "replay",
    "record write",
    "record verify",
    "record show",
    "resin fit",
    "job close",
    "job reopen",
    "layup",
}
SHED = """
[shed]
name = "Saltmarsh Shed"
boat = "Kittiwake Nine"
[sensors.bench]
role = "air"
part = "humidity-2"
[sensors.hull]
role = "surface"
part = "probe"
[resin]
batch_mass_g = 150.0
[logbook]
path = "logbook.sqlite"
"""
FLEET = """
[broker]
hosts = ["127.0.0.1:5672"]
[page]
on = true
[sheds]
hull = "curewatch.toml"
[copies.yard]
file = "yard.toml"
key = "0000 0000 0000 0000 0000 0000 0000 0000"
"""


def at_home(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Type what follows in this folder, with nothing of the tester's own around."""
    monkeypatch.chdir(folder)
    monkeypatch.setenv("HOME", str(folder))
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "CUREWATCH_CONFIG", "CUREWATCH_UNITS"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture(scope="module")
def plain_shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shed's configuration, its recordings and two hours of readings: to be copied."""
    folder = tmp_path_factory.mktemp("plain") / "shed"
    folder.mkdir()
    (folder / "curewatch.toml").write_text(SHED)
    (folder / "yard.toml").write_text(SHED.replace("logbook.sqlite", "yard.sqlite"))
    (folder / "fleet.toml").write_text(FLEET)
    shutil.copytree(ROOT / "recordings", folder / "recordings")
    now = SystemClock().now().utc
    with Logbook(folder / "logbook.sqlite") as logbook:
        logbook.append(
            [
                Reading(name, now - 60.0 * minute, now, 288.0, humidity)
                for minute in range(120)
                for name, humidity in (("bench", 0.55), ("hull", None))
            ]
        )
    return folder


@pytest.fixture(scope="module")
def busy_shed(plain_shed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with a job open, a batch mixed, a layer laid, and a photograph to show: to be copied."""
    from PIL import Image

    folder = tmp_path_factory.mktemp("busy") / "shed"
    shutil.copytree(plain_shed, folder)
    Image.new("RGB", (80, 60), "white").save(folder / "scarf.jpg")
    with pytest.MonkeyPatch.context() as monkeypatch:
        at_home(folder, monkeypatch)
        for typed in (
            'curewatch job open --name rudder-cheek --title "new rudder cheek" --by "the owner" --ago "10 h"',
            'curewatch job batch --resin-mass "150 g" --hardener-mass "33 g" --resin-lot "lot 7" --ago "9 h"',
            'curewatch layer --job rudder-cheek --mass "150 g" --ago "9 h"',
        ):
            assert outcome(typed) == 0, typed
    return folder


@pytest.fixture
def working_shed(busy_shed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to type commands in, in the middle of a job."""
    shutil.copytree(busy_shed, tmp_path / "shed")
    with (tmp_path / "shed" / "curewatch.toml").open("a", encoding="utf-8") as settings:
        settings.write('[page]\non = true\n[notices]\ncommand = ["true"]\n')
    at_home(tmp_path / "shed", monkeypatch)
    return tmp_path / "shed"


def outcome(typed: str) -> int:
    """Run one command line as it is typed; ``> FILE`` is understood."""
    words = shlex.split(typed, comments=True)[1:]
    if ">" in words:
        words = words[: words.index(">")]
    ends = LIVE.get(words[0]) or LIVE.get(" ".join(words[:2]), [])
    if not set(ends) & set(words):
        words += ends
    with pytest.raises(SystemExit) as stop:
        run(words)
    return int(stop.value.code or 0)


EXAMPLES = [pytest.param(name, command, id=name) for name, command in every_command()]
TYPED = [
    pytest.param(*example.values, id=example.id, marks=pytest.mark.long if example.id in SLOW else ())
    for example in EXAMPLES
]


@pytest.mark.long
@pytest.mark.parametrize(("name", "command"), TYPED)
def test_every_command_has_help_and_an_example_that_runs(
    name: str, command: object, working_shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last paragraph of its help is ``Example: curewatch …``, and typing that gives an answer."""
    told = " ".join(str(getattr(command, "help", "")).split())
    example = told.rpartition("Example: ")[2]
    assert example.startswith(f"curewatch {name}"), f"{name} has no example"
    for before in BEFORE.get(name, []):
        outcome(before)
    status = outcome(example)
    said = capsys.readouterr()
    assert status in ANSWERED, f"{example}: {status}\n{said.err}"
    assert "Traceback" not in said.err


@pytest.mark.parametrize("group", sorted({name.split()[0] for name, _ in every_command() if " " in name}))
def test_a_group_without_a_command_shows_its_help(
    group: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the program itself does, with the status of a mistake; so each of them, where nothing is set up."""
    at_home(tmp_path, monkeypatch)
    with pytest.raises(SystemExit) as stop:
        run([group])
    assert stop.value.code == 2
    assert f"Usage: curewatch {group} " in capsys.readouterr().err


@pytest.mark.parametrize(("name", "command"), EXAMPLES)
def test_every_option_is_told(name: str, command: object) -> None:
    """Each option and argument has words of help, and the manual page has them too."""
    for parameter in command.params:  # type: ignore[attr-defined]
        if getattr(parameter, "hidden", False):
            continue
        assert parameter.help, f"{name}: {parameter.opts} has no help"
        if parameter.param_type_name == "option":
            assert all(option in MANUAL for option in parameter.opts)


def test_no_help_speaks_of_types() -> None:
    """A person at a bench is told what is wanted, not what Python calls it."""
    assert not re.findall(r"<(?:str|int|float|path|list)[^>]*>", MANUAL)


def test_commands_named_in_running_text_are_commands() -> None:
    """`curewatch WORD` in the documents names one there is."""
    words = {name.partition(" ")[0] for name in COMMANDS} | {"--help", "--version", "--completion"}
    for document in documents.documents():
        for named in re.findall(r"`curewatch ([a-z-]+)", document.read_text(encoding="utf-8")):
            assert named in words, f"{document.name}: curewatch {named}"


@pytest.mark.long
def test_the_manual_page_is_read_without_a_warning(tmp_path: Path) -> None:
    """By man itself, where it is installed."""
    if shutil.which("man") is None or shutil.which("groff") is None:
        assert not os.environ.get("CUREWATCH_REQUIRE_SYSTEM_TOOLS"), "man is missing"
        pytest.skip("man is not installed here")
    file = tmp_path / "curewatch.1"
    file.write_text(page(), encoding="utf-8")
    read = subprocess.run(
        ["man", "--warnings", "-E", "UTF-8", "-l", "-P", "cat", str(file)],
        capture_output=True,
        text=True,
        check=True,
        env={"PATH": os.environ["PATH"], "MANWIDTH": "80", "LANG": "C.UTF-8", "HOME": str(tmp_path)},
    )
    assert read.stderr == ""
    assert "curewatch tonight" in read.stdout
