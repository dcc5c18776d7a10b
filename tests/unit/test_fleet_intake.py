"""A worker of a fleet: nothing is acknowledged before it is stored, and a refused batch teaches nothing."""

import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from curewatch.cli.commands.fleet import app
from curewatch.clock import Instant, SystemClock, iso_utc
from curewatch.configuration import Configuration
from curewatch.daemon.intake import Intake
from curewatch.errors import CurewatchError, StoreFailed, UsageError
from curewatch.fleet import serving, shed_name
from curewatch.fleet.plan import load_plan
from curewatch.fleet.queues import QueueLostError, QueueMessage
from curewatch.fleet.shed_intake import BATCH, BATCH_AGE, Delivery, ShedIntake
from curewatch.fleet.shed_name import OtherShed
from curewatch.fleet.worker import Worker
from curewatch.logbook import Logbook

NOW = 1_795_640_400.0
HOST = "[broker]\nhosts = ['a']\n"
COPY = f"[copies.%s]\nfile = 'x.toml'\nkey = '{'0' * 64}'\n"


class Moody(Logbook):
    """A logbook that refuses as often as it is told to."""

    refusals = 0

    def append(self, *given: Any, **more: Any) -> int:
        if self.refusals:
            self.refusals -= 1
            raise StoreFailed("the database is away")
        return super().append(*given, **more)


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Moody]:
    with Moody(tmp_path / "logbook.sqlite", passing=True) as opened:
        yield opened


def delivery(tag: int, *, payload: bytes = b"", again: bool = False) -> Delivery:
    said = {"sensor": "bench", "time": iso_utc(NOW + tag), "temperature_c": 18 + tag / 100, "sequence": tag}
    at = Instant(NOW + tag + 0.2, float(tag))
    return Delivery(tag, "sheds/hull/bench", payload or json.dumps(said).encode(), at, again)


def taken(intake: ShedIntake, *deliveries: Delivery) -> ShedIntake:
    for one in deliveries:
        intake.take(one)
    return intake


def test_a_batch_is_due_by_count_or_age_and_not_at_once_after_a_refusal(logbook: Moody) -> None:
    """And what may be acknowledged is its last message."""
    intake = ShedIntake(Configuration(), lambda: logbook)
    assert not intake.due(1e9)
    taken(intake, delivery(1))
    assert not intake.due(1.0 + BATCH_AGE / 2)
    assert intake.due(1.0 + 2 * BATCH_AGE)
    taken(intake, *(delivery(tag) for tag in range(2, BATCH + 1)))
    assert intake.due(1.0)
    logbook.refusals = 1
    with pytest.raises(StoreFailed):
        intake.commit(100.0)
    assert not intake.due(100.1)
    assert intake.due(100.3)
    assert intake.commit(100.3) == BATCH
    assert (intake.stored, intake.repeated, logbook.head().readings) == (BATCH, 0, BATCH)


def test_a_refused_batch_that_comes_again_is_stored(logbook: Moody, monkeypatch: pytest.MonkeyPatch) -> None:
    """Held or redelivered; with a memory that stays, the same readings are called repeats and are lost."""

    def stored_after_refusal(first: int) -> int:
        intake = taken(ShedIntake(Configuration(), lambda: logbook), *(delivery(first + n) for n in range(5)))
        logbook.refusals = 2
        for _ in range(2):
            with pytest.raises(StoreFailed):
                intake.commit(0.0)
        intake.forget()
        taken(intake, *(delivery(first + n, again=True) for n in range(5)))
        assert intake.commit(0.0) == first + 4
        return intake.stored

    assert stored_after_refusal(10) == 5
    monkeypatch.setattr(Intake, "take_back", Intake.keep)
    assert stored_after_refusal(50) < 5


def test_rejections_are_counted_in_the_same_commit(logbook: Moody) -> None:
    """Those of a refused batch once, when it is stored; what came in twice is one reading."""
    intake = ShedIntake(Configuration(), lambda: logbook)
    taken(intake, delivery(1), delivery(2, payload=b"\xff nothing"), delivery(3), delivery(3, again=True))
    logbook.refusals = 1
    with pytest.raises(StoreFailed):
        intake.commit(0.0)
    assert logbook.rejected() == []
    intake.commit(0.0)
    assert logbook.head().readings == 2
    assert sum(one.times for one in logbook.rejected()) == intake.rejected >= 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[sheds]\nhull = 'x.toml'\n", "found Object missing required field `broker`"),
        (f"{HOST}[sheds]\na = 'x.toml'\n[copies.a]\nfile = 'x.toml'\nkey = '{'0' * 64}'\n", "a told twice"),
        (f"{HOST}[copies.a]\nfile = 'x.toml'\nkey = 'none'\n", "found 'none' as the key of a"),
        (f"{HOST}{COPY % 'a'}{COPY % 'b'}", "found one key for a and b"),
        (f"{HOST}[sheds]\na = 'x.toml'\na = 'x.toml'\n", "found Cannot overwrite a value"),
        ("[broker]\nhosts = []\n[sheds]\n", "found no hosts or no sheds"),
        ("[broker]\nhosts = ['a']\n[sheds]\n'a.b' = 'x.toml'\n", "found the shed 'a.b'. Use letters"),
        ("[broker]\nhosts = ['a']\nport = 1\n[sheds]\na = 'x.toml'\n", "unknown field `port`"),
        ("[broker]\nhosts = ['a']\n[sheds]\na = 'bare.toml'\n", "found no logbook.path of the shed a"),
        ("[broker]\nhosts = ['a']\n[sheds]\na = 'x.toml'\nb = 'x.toml'\n", "found one logbook for a and b"),
        ("[broker]\nhosts = ['a']\npassword_file = 'none'\n[sheds]\na = 'x.toml'\n", "found no file"),
        ("[broker]\nhosts = ['a']\n[sheds]\na = '1.toml'\nb = '2.toml'\n", "found one logbook for a and b"),
        ("[broker", "Use TOML"),
    ],
)
def test_a_plan_that_mixes_sheds_up_is_refused(tmp_path: Path, text: str, said: str) -> None:
    """Before anything is taken from a queue."""
    (tmp_path / "x.toml").write_text(f'[logbook]\npath = "{tmp_path}/x.sqlite"\n')
    (tmp_path / "bare.toml").write_text("")
    for name in ("1", "2"):
        (tmp_path / f"{name}.toml").write_text(f'[logbook]\npath = "{tmp_path}/{name}.address"\n')
        (tmp_path / f"{name}.address").write_text("postgresql://saltmarsh@db.example/sheds?shed=hull\n")
    (tmp_path / "fleet.toml").write_text(text)
    with pytest.raises(CurewatchError) as refused:
        load_plan(tmp_path / "fleet.toml")
    assert said in str(refused.value)


class NoBroker:
    """Remembers what was asked of it."""

    def __init__(self) -> None:
        self.taken = True
        self.declared: list[str] = []
        self.done: list[str] = []
        self.arrived: dict[str, Callable[[QueueMessage], None]] = {}

    def declare(self, queue: str, *_: object, **__: object) -> None:
        self.declared.append(queue)

    def take(
        self, queue: str, arrived: Callable[[QueueMessage], None], *, topic: str, at_once: int = 0
    ) -> None:
        if topic:
            self.declared.append(queue)
        self.arrived[queue] = arrived

    def fill(self, queue: str) -> None:
        """Have a batch come to whoever took this queue."""
        for tag in range(1, BATCH + 1):
            one = delivery(tag)
            self.arrived[queue](QueueMessage(tag, one.topic, one.payload, False, ""))

    def acknowledge(self, queue: str, _: int) -> None:
        self.done.append(f"stored {queue}")

    def work(self, _: float) -> None:
        """Nothing comes in."""

    def close(self) -> None:
        """Nothing is left."""


def two_sheds(folder: Path) -> Worker:
    """A worker of hull and yard."""
    for name in ("hull", "yard"):
        (folder / f"{name}.toml").write_text(f'[logbook]\npath = "{folder}/{name}.sqlite"\n')
    (folder / "fleet.toml").write_text(f"{HOST}[sheds]\nhull = 'hull.toml'\nyard = 'yard.toml'\n")
    return Worker(*load_plan(folder / "fleet.toml"), SystemClock(), print)


class Lost(NoBroker):
    """Is lost when it is asked a second time."""

    def __init__(self, trouble: Exception) -> None:
        super().__init__()
        self.trouble, self.asked = trouble, 0

    def work(self, _: float) -> None:
        self.asked += 1
        if self.asked == 2:
            raise self.trouble


def served(worker: Worker, brokers: Sequence[NoBroker], monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the worker says until it asks for a broker more than there are."""
    said: list[str] = []

    def connect(*_: object) -> NoBroker:
        if left:
            return left.pop(0)
        worker.stopping = True
        raise OSError

    left = list(brokers)
    monkeypatch.setattr(worker, "tell", said.append)
    monkeypatch.setattr(serving, "AWAY", 0.0)
    monkeypatch.setattr(serving, "Queues", connect)
    worker.run()
    return said


def test_queues_are_made_once_and_again_where_one_was_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another host is served sooner; a queue that somebody removed does not stop the worker for good."""
    gone = QueueLostError("no queue curewatch.hull")
    seen = [Lost(OSError()), Lost(OSError()), Lost(gone), Lost(OSError()), Lost(OSError())]
    said = served(two_sheds(tmp_path), seen, monkeypatch)
    all_of, looks = ["curewatch.looks", "curewatch.hull", "curewatch.yard"], ["curewatch.looks"]
    assert [one.declared for one in seen] == [all_of, looks, looks, all_of, looks]
    assert [list(one.arrived) for one in seen] == [["curewatch.hull", "curewatch.yard"]] * 5
    assert [line.partition(": ")[2] for line in said[4:6]] == [
        "2 sheds, 0 copies",
        "lost (no queue curewatch.hull); trying the next",
    ]


def test_a_worker_says_that_it_serves_when_it_has_every_queue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What comes before is stored; one that is lost before has its queues made again."""

    class Slow(NoBroker):
        """Gives what one queue holds before the other is there, and is lost."""

        def __init__(self) -> None:
            super().__init__()
            self.taken = False

        def work(self, _: float) -> None:
            if "curewatch.hull" in self.arrived:
                self.fill("curewatch.hull")
                del self.arrived["curewatch.hull"]
            elif "stored curewatch.hull" in self.done:
                raise OSError

    slow, then = Slow(), Lost(OSError())
    said = served(two_sheds(tmp_path), [slow, then], monkeypatch)
    assert slow.done == ["stored curewatch.hull"]
    assert [line.partition(": ")[2][:15] for line in said[:2]] == ["lost (OSError);", "2 sheds, 0 copi"]
    assert then.declared == slow.declared


def test_messages_come_in_between_two_commits(tmp_path: Path) -> None:
    """Of a hundred sheds that are taken over the last is not silent until all others are stored."""

    class Working(NoBroker):
        """Notes when more could come in."""

        def work(self, _: float) -> None:
            self.done.append("worked")

    worker, broker = two_sheds(tmp_path), Working()
    worker.begin(broker)  # type: ignore[arg-type]
    broker.done.clear()
    for queue in broker.arrived:
        broker.fill(queue)
    worker.turn(broker)  # type: ignore[arg-type]
    worker.close()
    assert broker.done == ["stored curewatch.hull", "worked", "stored curewatch.yard", "worked"]


def test_a_worker_has_its_logbooks_open_before_it_takes_over(tmp_path: Path) -> None:
    """One in each turn; one that cannot be opened is told, and is tried again with its first batch."""
    for name in ("hull", "lost", "yard"):
        folder = "nowhere/" * (name == "lost")
        (tmp_path / f"{name}.toml").write_text(f'[logbook]\npath = "{tmp_path}/{folder}{name}.sqlite"\n')
    (tmp_path / "nowhere").touch()
    sheds = "".join(f"{name} = '{name}.toml'\n" for name in ("hull", "lost", "yard"))
    (tmp_path / "fleet.toml").write_text(f"{HOST}[sheds]\n{sheds}")
    said: list[str] = []
    worker, broker = Worker(*load_plan(tmp_path / "fleet.toml"), SystemClock(), said.append), NoBroker()
    worker.begin(broker)  # type: ignore[arg-type]
    found = []
    for _ in range(4):
        broker.fill("curewatch.hull")  # a worker that stores others' readings has no idle turn
        worker.turn(broker)  # type: ignore[arg-type]
        found.append(sorted(one.stem for one in tmp_path.glob("*.sqlite")))
    worker.close()
    assert found == [["hull"], ["hull"], ["hull", "yard"], ["hull", "yard"]]
    assert len(said) == 1
    assert said[0].startswith("lost: ")


def two_names_of_one_logbook(folder: Path) -> dict[str, list[Path]]:
    """By a link, and by two files that were exchanged between two days: what load_plan cannot know."""
    for name in ("hull", "yard"):
        (folder / f"{name}.toml").write_text(f'[logbook]\npath = "{folder}/{name}.sqlite"\n')
    (folder / "link.sqlite").symlink_to(folder / "hull.sqlite")
    (folder / "link.toml").write_text(f'[logbook]\npath = "{folder}/link.sqlite"\n')
    plans = {
        "linked": ["hull = 'hull.toml'\nyard = 'link.toml'\n"],
        "exchanged": [f"{a} = 'hull.toml'\n{b} = 'yard.toml'\n" for a, b in ("ab", "ba")],
    }
    found: dict[str, list[Path]] = {}
    for how, texts in plans.items():
        for number, text in enumerate(texts):
            file = folder / f"{how}{number}.toml"
            file.write_text(f"{HOST}[sheds]\n{text}")
            found.setdefault(how, []).append(file)
    return found


@pytest.mark.parametrize("how", ["linked", "exchanged"])
@pytest.mark.parametrize("checked", [True, False], ids=["", "control"])
def test_two_sheds_never_share_a_chain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str, checked: bool
) -> None:
    """Refused by name, nothing of it acknowledged, shown to the operator. Control: mixed silently."""
    if not checked:
        monkeypatch.setattr(shed_name, "check", lambda *_: None)
    said: list[str] = []
    stored = Counter[str]()
    plans = two_names_of_one_logbook(tmp_path)[how]
    for file in plans:
        plan, sheds = load_plan(file)
        worker, broker = Worker(plan, sheds, SystemClock(), said.append), NoBroker()
        for number, name in enumerate(plan.sheds):
            for tag in range(1, BATCH + 1):
                one = delivery(100 * number + tag)
                worker._arrived(name, QueueMessage(tag, one.topic, one.payload, False, ""))
        worker.turn(broker)  # type: ignore[arg-type]
        worker.close()
        stored.update(broker.done)
    wrong = {line for line in said if "found the fleet's shed" in line}
    names = {"linked": {"hull": 1}, "exchanged": {"a": 1, "b": 1}}[how]
    if not checked:
        assert wrong == set()
        assert sum(stored.values()) > sum(names.values())
        return
    assert stored == {f"stored curewatch.{name}": times for name, times in names.items()}
    assert all(". Use a logbook of its own, or `curewatch fleet settle --shed " in line for line in wrong)
    assert len(wrong) == {"linked": 1, "exchanged": 2}[how]
    shown = CliRunner().invoke(app, ["sheds", str(plans[-1])], catch_exceptions=False).output
    assert shown.count("found the fleet's shed") == len(wrong)


def test_a_shed_that_was_renamed_is_settled(tmp_path: Path) -> None:
    """By the operator's word; from then on the old name is refused."""
    old, new = two_names_of_one_logbook(tmp_path)["exchanged"]
    for file in (old, new):
        for name in "ab":
            said = CliRunner().invoke(app, ["settle", str(file), "--shed", name], catch_exceptions=False)
            assert said.output.startswith(f"{name}: its logbook is {tmp_path}")
        _, sheds = load_plan(file)
        shed_name.open_shed("a", sheds["a"]).close()
        with pytest.raises(OtherShed, match=r"of b: found the fleet's shed a\. Use a logbook of its own"):
            shed_name.open_shed("b", sheds["a"])
    with pytest.raises(UsageError, match=r"--shed: found 'none'\. Use one of b, a"):
        CliRunner().invoke(app, ["settle", str(new), "--shed", "none"], catch_exceptions=False)
