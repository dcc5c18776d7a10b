"""The page of a fleet: every shed by its last look, worst first, each opens to its board; nothing is told."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from curewatch.cli.commands.fleet import app
from curewatch.clock import ManualClock, utc_from_iso
from curewatch.configuration import Configuration, load
from curewatch.errors import ConfigurationError, CurewatchError, UsageError
from curewatch.fleet import boards, copying, phone_answers
from curewatch.fleet.looker import Looks, WantedLook
from curewatch.fleet.phone_answers import FleetAnswering
from curewatch.fleet.plan import BrokerHosts, FleetPlan, load_plan
from curewatch.logbook import Logbook
from curewatch.page.drawing import sheds as drawing
from curewatch.readings import Reading
from curewatch.units import MINUTE

NOW = 1_795_640_400.0
NAMES = ("creek", "quay", "loft", "mole")


def evening(start: float, end: float) -> list[Reading]:
    """Warm, dry air, once a minute."""
    stamps = [start + n * MINUTE for n in range(1, round((end - start) / MINUTE) + 1)]
    return [Reading("bench", at, at + 0.3, 295.0 + at // 60 % 7 / 50, 0.45) for at in stamps]


def configured(folder: Path) -> dict[str, Configuration]:
    return {name: load(folder / f"{name}.toml") for name in NAMES}


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One fit and looked at, a copy that was refused, one that is no logbook, and some without a look."""
    folder = tmp_path_factory.mktemp("sheds")
    for name in NAMES:
        text = f'[logbook]\npath = "{name}.sqlite"\n[shed]\nname = "<b>{name}</b>"\n[alerts]\n'
        text += 'go_now = false\n[sensors.bench]\nrole = "air"\n'
        (folder / f"{name}.toml").write_text(text)
        Logbook(folder / f"{name}.sqlite").close()
    with Logbook(folder / "creek.sqlite") as logbook:
        logbook.append(evening(NOW - 180 * MINUTE, NOW))
    with Logbook(folder / "quay.sqlite") as logbook:
        logbook.append(notes={copying.FORK: b'{"code": "fork", "told": "two chains of one shed", "at": 1.0}'})
    (folder / "loft.sqlite").write_text("rubbish " * 1000)
    looks = Looks(FleetPlan(broker=BrokerHosts(hosts=("none",))), configured(folder), "one")
    looks.look(WantedLook("creek", NOW), ManualClock(NOW))
    looks.close()
    return folder


@pytest.fixture
def sheds(looked_at: Path, tmp_path: Path) -> dict[str, Configuration]:
    """A copy of them."""
    shutil.copytree(looked_at, tmp_path, dirs_exist_ok=True)
    return configured(tmp_path)


@pytest.fixture
def clock() -> ManualClock:
    """The moment at which the creek was looked at."""
    return ManualClock(NOW)


@pytest.fixture
def fleet(sheds: dict[str, Configuration], clock: ManualClock) -> Iterator[FleetAnswering]:
    made = FleetAnswering(sheds, clock)
    yield made
    made.close()


def asked(fleet: FleetAnswering, shed: str = "", do: str = "look") -> Any:
    answer = fleet.answer({"do": do, "shed": shed, "writes": True, "told": None})
    return json.loads(answer["body"]) if "json" in answer["kind"] else answer["body"].decode()


def test_all_sheds_stand_on_one_page_as_on_the_terminal(
    fleet: FleetAnswering, sheds: dict[str, Configuration]
) -> None:
    """Those that ring first, then unknown, no-go, go; the word of the worst; names of others stay text."""
    found = asked(fleet)
    lines = boards.fleet_document(boards.seen(sheds, NOW), NOW).sheds
    places = [found["sections"]["sheds"].index(f'href="/shed/{line.shed}/"') for line in lines]
    assert places == sorted(places)
    assert [line.shed for line in lines] == ["quay", "loft", "mole", "creek"]
    assert (found["verdict"], found["writes"], found["ringing"]) == ("unknown", False, 1)
    assert found["reason"] == f"{len(NAMES)} sheds: 1 with alerts, {len(NAMES) - 1} unknown, 1 go."
    assert "fork: two chains of one shed" in found["sections"]["sheds"]
    assert "(at 21:00)" in found["sections"]["sheds"].rpartition("GO")[2]  # the look that it rests on
    assert "<b>" not in found["sections"]["sheds"]
    assert 'curewatch_fleet_sheds{verdict="go"} 1\n' in asked(fleet, do="metrics")


@pytest.mark.parametrize("lasts", [boards.LASTS, 1e9], ids=["as it is", "control"])
def test_an_old_look_is_no_go_on_the_page(
    fleet: FleetAnswering, clock: ManualClock, lasts: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After fifteen minutes without a look; the control lets it stand, and finds a go."""
    monkeypatch.setattr(boards, "LASTS", lasts)
    assert "1 go" in asked(fleet)["reason"]
    clock.advance(901.0)
    found = asked(fleet)
    assert ("1 go" in found["reason"]) is (lasts > 901.0)
    assert utc_from_iso(found["looked"]) == clock.now().utc


def test_the_boards_are_read_once_in_a_while_and_said_to_be_of_then(
    fleet: FleetAnswering, clock: ManualClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hundreds of sheds take seconds; the longer it takes, the longer it is kept, up to a minute."""
    read = boards.seen

    def slow(sheds: dict[str, Configuration], now: float) -> list[boards.SeenShed]:
        clock.advance(3.0)
        return read(sheds, now)

    monkeypatch.setattr(boards, "seen", slow)
    first = utc_from_iso(asked(fleet)["looked"])
    assert first == NOW
    clock.advance(20.0)
    assert utc_from_iso(asked(fleet)["looked"]) == first
    clock.advance(10.0)
    assert utc_from_iso(asked(fleet)["looked"]) == first + 33.0


@pytest.mark.long
def test_a_line_opens_to_the_board_of_its_shed_and_few_stay_open(
    fleet: FleetAnswering, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A look of this moment, with a way back. A shed that cannot be opened is refused alone."""
    found = asked(fleet, "creek")
    assert (found["verdict"], found["several"], found["writes"]) == ("go", True, False)
    assert "bench" in found["sections"]["readings"]
    assert found["jobs"] == found["opening"] == []
    with pytest.raises(CurewatchError):
        asked(fleet, "loft")
    monkeypatch.setattr(phone_answers, "OPEN", 2)
    for name in ("quay", "mole", "creek"):
        asked(fleet, name)
    assert sorted(fleet._open) == ["creek", "mole"]


def test_nothing_is_told_by_the_page(fleet: FleetAnswering, tmp_path: Path) -> None:
    """Not by a press, and not by the way it opens a logbook. The control is the page of a daemon."""
    for shed in ("", "creek"):
        for do in ("tell", "calendar"):
            assert asked(fleet, shed, do)["rejected"] == phone_answers.ONLY_SHOWS
    asked(fleet, "creek")
    with pytest.raises(CurewatchError, match="read"):
        fleet._open["creek"]._logbook.append(evening(NOW, NOW + MINUTE))
    with Logbook(tmp_path / "creek.sqlite") as logbook:
        logbook.append(evening(NOW, NOW + MINUTE))


def test_a_phone_is_given_the_worst_of_very_many(
    fleet: FleetAnswering, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drawing, "MOST", 3)
    shown = asked(fleet)["sections"]["sheds"]
    assert shown.count("<li>") == 3
    assert "and 1 more, none of them worse" in shown
    assert "/shed/quay/" in shown
    assert "/shed/creek/" not in shown


def test_codes_are_made_listed_and_taken_back(sheds: dict[str, Configuration], tmp_path: Path) -> None:
    """They stand beside the fleet's file, and only let somebody look."""
    file = tmp_path / "fleet.toml"
    first = "[broker]\nhosts = ['none']\n[sheds]\ncreek = 'creek.toml'\n[page]\n"
    file.write_text(f"{first}port = 18738\n")

    def said(*words: str) -> str:
        done = CliRunner().invoke(app, ["page", str(file), *words], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    made = said("--name", "the operator")
    assert "http://127.0.0.1:18738/enter/" in made
    assert "It may look." in made
    assert f"To take it back: curewatch fleet page {file} --revoke 1" in made
    assert (tmp_path / "fleet.toml.tokens").stat().st_mode & 0o777 == 0o600
    assert "1 view the operator" in said("--list")
    assert "taken back: 1 view" in said("--revoke", "1")
    assert "no code was made yet: curewatch fleet page" in said("--list")
    with pytest.raises(UsageError, match="--name: found 200"):
        said("--name", "x" * 200)
    file.write_text(f"{first}certificate_file = 'a.pem'\nkey_file = 'b.pem'\n")
    plan, _ = load_plan(file)
    assert (plan.page.certificate_file, plan.page.key_file) == (tmp_path / "a.pem", tmp_path / "b.pem")
    for wrong in ("port = 0\n", "prot = 1\n", "key_file = 'b.pem'\n"):
        file.write_text(first + wrong)
        with pytest.raises((UsageError, ConfigurationError), match="found"):
            load_plan(file)
