"""The list of all heads: any chain that was rewritten since, and any shed that is gone, is found by name."""

import json
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from datetime import date
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.cli import main
from curewatch.clock import Instant
from curewatch.daemon.child import ChildAnswer
from curewatch.daemon.daily_heads import DailyHeads, HeadsRequest
from curewatch.errors import CurewatchError, ExitStatus, RecordBroken, UsageError
from curewatch.logbook import heads, open_logbook, sealing
from curewatch.logbook.stamping import Authority
from curewatch.readings import Reading
from tests.stamping_authority import StampingAuthority, serving

NOW = 1_792_252_800.0
SHEDS = ("creek", "loft", "quay")
SETTINGS = '[logbook]\npath = "logbook.sqlite"\n' + "".join(
    f'[sheds.{shed}.sensors.bench-{shed}]\nrole = "air"\n' for shed in SHEDS
)


def grown(folder: Path, shed: str, warmth: float = 290.0) -> None:
    """A shed's logbook with a sealed reading."""
    with open_logbook(folder / f"{shed}.sqlite") as logbook:
        logbook.append([Reading(f"bench-{shed}", NOW, NOW, warmth, 0.5)], ())
        sealing.seal(logbook, reason="day", at=NOW)


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "curewatch.toml").write_text(SETTINGS)
    for shed in SHEDS:
        grown(tmp_path, shed)
    return tmp_path


def places(folder: Path) -> dict[str, Path]:
    return {shed: folder / f"{shed}.sqlite" for shed in SHEDS}


def checked(folder: Path, file: Path, roots: bytes | None = None) -> heads.HeadsList:
    listed = heads.load(file)
    with ExitStack() as open_ones:
        sheds = {
            shed: open_ones.enter_context(open_logbook(path, read_only=True))
            for shed, path in places(folder).items()
            if path.exists()
        }
        heads.check_list(listed, sheds, roots)
    return listed


def began_anew(folder: Path) -> None:
    """The chain of one shed is made anew, sealed by its own key."""
    for file in folder.glob("loft.sqlite*"):
        if file.suffix != ".key":
            file.unlink()
    grown(folder, "loft", 291.0)


def gone(folder: Path) -> None:
    (folder / "quay.sqlite").unlink()


def bent(key: str, change: Callable[[str], str]) -> Callable[[Path], None]:
    def attack(folder: Path) -> None:
        file = folder / "heads.json"
        told = json.loads(file.read_text())
        file.write_text(json.dumps(told | {key: change(told[key])}))

    return attack


def left_out(text: str) -> str:
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith("shed loft"))


ATTACKS = {
    "a chain made anew": (began_anew, "shed loft"),
    "a shed gone": (gone, "shed quay"),
    "a shed left out": (bent("text", left_out), "heads"),
    "a shed twice": (bent("text", lambda text: text.replace("shed loft", "shed quay")), "heads"),
    "another day": (bent("text", lambda text: text.replace("at 20", "at 19")), "heads"),
    "another signature": (bent("signature", lambda said: said[::-1]), "heads"),
    "no list": (lambda folder: (folder / "heads.json").write_text("[1, 2]"), "heads.json"),
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_what_was_changed_since_is_found(yard: Path, attack: str) -> None:
    """By name; unchanged, and grown since, it holds: that is the control."""
    made = heads.written(yard / "heads.json", places(yard), None, NOW)
    grown(yard, "creek", 292.0)
    assert checked(yard, yard / "heads.json").code == made.code
    change, name = ATTACKS[attack]
    change(yard)
    with pytest.raises(RecordBroken) as caught:
        checked(yard, yard / "heads.json")
    assert name in str(caught.value)


def test_each_shed_gets_the_code_once(yard: Path) -> None:
    """Whoever was killed between the file and the entries goes on; nothing is made anew."""
    file = yard / "heads.json"
    with ExitStack() as open_ones:
        sheds = {shed: open_ones.enter_context(open_logbook(path)) for shed, path in places(yard).items()}
        heads.save(file, heads.make(sheds, NOW))  # and killed
    first = heads.written(file, places(yard), None, NOW + 60, key="heads of the day")
    assert heads.written(file, places(yard), None, NOW + 120, key="heads of the day") == first
    for shed in SHEDS:
        with open_logbook(yard / f"{shed}.sqlite", read_only=True) as logbook:
            told = [one.payload for one in logbook.entries("daemon")]
        assert told == [{"what": "listed", "code": first.code}]


@pytest.mark.long
def test_a_list_is_dated_as_a_seal_is(yard: Path, tmp_path: Path) -> None:
    """Now or the next time; and by nobody whom the reader does not trust."""
    file = yard / "heads.json"
    lost = Authority("http://127.0.0.1:9", b"")
    with pytest.raises(CurewatchError, match="stamp authority"):
        heads.written(file, places(yard), lost, NOW)
    assert checked(yard, file).stamp is None
    own, other = (StampingAuthority(tmp_path / name, name) for name in ("harbour", "stranger"))
    with serving(own.answer) as address:
        roots = own.roots.read_bytes()
        made = heads.written(file, places(yard), Authority(address, roots), NOW)
    assert made.stamp is not None
    assert checked(yard, file, roots) == made
    with pytest.raises(RecordBroken, match="time stamp"):
        checked(yard, file, other.roots.read_bytes())


def test_the_command_makes_one_and_checks_one(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Status 0, and 5 when a chain is not what was listed; a list is never written over."""

    def run(*words: str) -> tuple[int, str]:
        with pytest.raises(SystemExit) as ended:
            main.run(["heads", *words])
        shown = capsys.readouterr()
        return int(ended.value.code or 0), shown.out + shown.err

    status, shown = run("--output", "heads.json")
    assert status == 0
    assert heads.load(yard / "heads.json").code in shown
    assert run("--output", "heads.json")[0] == ExitStatus.USAGE
    assert run("--check", "heads.json")[0] == 0
    began_anew(yard)
    status, shown = run("--check", "heads.json")
    assert status == ExitStatus.RECORD_BROKEN
    assert "shed loft" in shown


def test_a_shed_never_sealed_is_named(yard: Path) -> None:
    with open_logbook(yard / "quay.sqlite") as logbook, open_logbook(yard / "new.sqlite") as new:
        sheds: Mapping[str, object] = {"quay": logbook, "new": new}
        with pytest.raises(UsageError, match="shed new: found no seal"):
            heads.make(sheds, NOW)  # type: ignore[arg-type]


def test_the_daemon_lists_when_every_shed_has_sealed_the_day() -> None:
    """Once a day; after trouble again an hour later."""

    class SlowChild:
        busy = False
        asked: list[HeadsRequest] = []  # noqa: RUF012 - one child
        answers: list[ChildAnswer] = []  # noqa: RUF012

        def ask(self, asked: HeadsRequest) -> None:
            self.asked.append(asked)

        def collect(self) -> ChildAnswer | None:
            return self.answers.pop() if self.answers else None

    told: list[tuple[str, bool]] = []
    daily = DailyHeads(configuration.parse(SETTINGS), lambda *said: told.append(said), Instant(NOW, 0.0))
    child = SlowChild()
    daily._child = child  # type: ignore[assignment]
    day, before, time = date(2026, 10, 17), date(2026, 10, 16), 0.0
    for sealed, wanted in (
        ([None, day, day], 0),
        ([before, day, day], 0),
        ([day, day, day], 1),
        ([day, day, day], 1),
    ):
        time += 61.0
        daily.look(sealed, Instant(NOW + time, time))
        assert len(child.asked) == wanted, sealed
    assert child.asked[0].file.name == "heads-2026-10-17.json"
    child.answers.append(ChildAnswer(None, "no such folder"))
    daily.look([day] * 3, Instant(NOW, time + 61.0))
    assert told == [("the heads of the sheds are not listed: no such folder", True)]
    daily.look([day] * 3, Instant(NOW, time + 3700.0))
    assert len(child.asked) == 2
