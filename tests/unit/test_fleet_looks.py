"""Looks of a fleet: made when something changed, kept beside the logbook, and never a go that is old."""

import json
import random
import re
import shutil
import subprocess
from contextlib import suppress
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from jsonschema import Draft202012Validator
from prometheus_client.openmetrics.parser import text_string_to_metric_families
from typer.testing import CliRunner

from curewatch.answers import catalogue
from curewatch.cli.commands.fleet import app
from curewatch.cli.main import run
from curewatch.clock import Instant
from curewatch.configuration import Configuration, load, logbook_path
from curewatch.daemon.evaluation import Evaluation
from curewatch.errors import StoreFailed, UsageError
from curewatch.fleet import boards, copying
from curewatch.fleet import looker as looker_module
from curewatch.fleet.boards import SeenShed
from curewatch.fleet.checking import STORE
from curewatch.fleet.looker import HOLDER, Looks, WantedLook
from curewatch.fleet.plan import BrokerHosts, CopyPlan, FleetPlan
from curewatch.fleet.wanted import BETWEEN, ROUTINE, SILENT, News, Wanted
from curewatch.logbook import Entry, Logbook
from curewatch.logbook.lock import InUse
from curewatch.readings import Reading
from curewatch.shed import copied, past_grid
from curewatch.units import MINUTE
from tests import record_world as world
from tests.broker import REQUIRED

NOW = 1_795_640_400.0


class Moved:
    def __init__(self, at: float) -> None:
        self.at = at

    def now(self) -> Instant:
        return Instant(self.at, self.at)


@pytest.fixture
def sheds(tmp_path: Path) -> dict[str, Configuration]:
    """Two; the first has a warm, dry evening."""
    for name in ("hull", "yard"):
        (tmp_path / f"{name}.toml").write_text(
            f'[logbook]\npath = "{tmp_path}/{name}.sqlite"\n'
            '[shed]\nname = "Saltmarsh Shed"\nboat = "Kittiwake Nine"\n'
            '[alerts]\ngo_now = false\n[sensors.bench]\nrole = "air"\n'
        )
        with Logbook(tmp_path / f"{name}.sqlite"):
            pass
    with Logbook(tmp_path / "hull.sqlite") as logbook:
        logbook.append(told(NOW - 180 * MINUTE, NOW))
    return {name: load(tmp_path / f"{name}.toml") for name in ("hull", "yard")}


def told(start: float, end: float) -> list[Reading]:
    count = round((end - start) / MINUTE)
    stamps = [start + n * MINUTE for n in range(1, count + 1)]
    return [Reading("bench", at, at + 0.3, 295.0 + at // 60 % 7 / 50, 0.45) for at in stamps]


def looker(**copies: CopyPlan) -> FleetPlan:
    return FleetPlan(broker=BrokerHosts(hosts=("none",)), copies=copies)


def shown(sheds: dict[str, Configuration], at: float) -> dict[str, tuple[str, int]]:
    return {
        one.shed: (one.verdict, one.ringing)
        for one in boards.fleet_document(boards.seen(sheds, at), at).sheds
    }


def test_a_look_is_wanted_when_something_changed_and_sometimes_without() -> None:
    """At most once a minute, and each ten minutes of silence; what is new to this process at once."""
    wanted = Wanted(["hull", "yard"], 0.0)
    assert wanted.due(BETWEEN) == ["hull", "yard"]
    wanted.changed("hull")
    assert wanted.due(BETWEEN + 1) == []
    assert wanted.due(2 * BETWEEN) == ["hull"]
    assert wanted.due(3 * BETWEEN) == []
    assert wanted.due(BETWEEN + ROUTINE) == ["yard"]
    assert wanted.due(2 * BETWEEN + ROUTINE) == ["hull"]


def test_news_is_what_could_change_the_answer() -> None:
    """A first word, one after a silence, half a kelvin, three percent; not a report like the last one."""
    news = News()
    first = Reading("bench", NOW, NOW, 290.0, 0.6)

    def said(after: float, warmer: float = 0.0, damper: float = 0.0) -> bool:
        at = NOW + after
        return news.among([Reading("bench", at, at, 290.0 + warmer, 0.6 + damper)])

    assert news.among([first])
    assert not said(60, 0.3, 0.02)
    assert said(120, 0.6)
    assert not said(180, 0.6)
    assert said(240, 0.6, -0.04)
    assert not said(300, 0.5, -0.04)
    assert said(301 + SILENT, 0.5, -0.04)
    assert news.among([first._replace(sensor="hull")])
    assert not news.among([])


@pytest.mark.long
def test_a_countdown_that_reaches_its_mark_is_looked_at(tmp_path: Path) -> None:
    """Of whoever looked last, without being asked; each look names the next mark."""
    world.fill(tmp_path / "hull.sqlite", step=900.0)
    (tmp_path / "hull.toml").write_text(f'[logbook]\npath = "{tmp_path}/hull.sqlite"\n')
    sheds = {"hull": load(tmp_path / "hull.toml")}
    with Logbook(tmp_path / "hull.sqlite") as logbook:
        (begun, *_) = logbook.entries("layer")
    looks, at = Looks(looker(), sheds, "one"), begun.at + 60.0
    looks.look(WantedLook("hull", at), Moved(at))
    assert looks.due(at) == []
    (mark,) = looks.due(at + 86400.0)
    assert mark.shed == "hull"
    assert mark.at > at
    assert looks.due(at + 86400.0) == []
    looks.close()


def test_a_look_is_kept_and_shown_worst_first(sheds: dict[str, Configuration]) -> None:
    """The same answer as of one shed's own daemon; the worst first; one nobody looked at is unknown."""
    looks, clock = Looks(looker(), sheds, "one"), Moved(NOW)
    assert shown(sheds, NOW) == {"hull": ("unknown", 0), "yard": ("unknown", 0)}
    looks.look(WantedLook("hull", NOW), clock)
    found = boards.fleet_document(boards.seen(sheds, NOW), NOW)
    assert [one.shed for one in found.sheds] == ["yard", "hull"]
    assert found.sheds[1].verdict in ("go", "no-go")
    assert (found.sheds[1].name, found.sheds[1].boat) == ("Saltmarsh Shed", "Kittiwake Nine")
    looks.close()


def test_a_look_that_is_old_is_never_a_go(sheds: dict[str, Configuration]) -> None:
    """Nor is one that another edition kept."""
    looks = Looks(looker(), sheds, "one")
    looks.look(WantedLook("hull", NOW), Moved(NOW))
    looks.close()
    assert shown(sheds, NOW + boards.LASTS)["hull"][0] != "unknown"
    assert shown(sheds, NOW + boards.LASTS + 1)["hull"][0] == "unknown"
    path = sheds["hull"].logbook.path
    assert path is not None
    with Logbook(path) as logbook:
        logbook.append(notes={boards.NOTE: b'{"at": 1, "advice": {}}'})
    assert shown(sheds, NOW)["hull"][0] == "unknown"


@pytest.mark.long
def test_a_look_is_made_once_however_often_it_is_asked_for(sheds: dict[str, Configuration]) -> None:
    """Two lookers; the queue may send a look again."""
    one, two = (Looks(looker(), sheds, name) for name in ("one", "two"))
    one.look(WantedLook("hull", NOW), Moved(NOW))
    two.look(WantedLook("hull", NOW - 5), Moved(NOW + 1))
    one.look(WantedLook("hull", NOW), Moved(NOW + 2))
    assert (one.made, two.made) == (1, 0)
    two.look(WantedLook("hull", NOW + 60), Moved(NOW + 60))
    assert (one.made, two.made) == (1, 1)
    one.close()
    two.close()


@pytest.mark.long
def test_an_alert_rings_once_and_clears_though_lookers_take_turns(sheds: dict[str, Configuration]) -> None:
    """What no entry tells, since when it is clear, goes from one to the other; without it nothing clears."""

    def rung(shed: str, *, holds: bool) -> list[str]:
        turns, at = [Looks(looker(), sheds, name) for name in ("one", "two")], NOW + 3600.0
        path = sheds[shed].logbook.path
        assert path is not None
        with Logbook(path) as logbook, pytest.MonkeyPatch.context() as patched:
            if not holds:
                patched.setattr(boards, "holds_of", lambda _: {})
            for number in range(4):
                at += 2 * MINUTE
                if number:
                    logbook.append(told(at - 2 * MINUTE, at))
                turns[number % 2].look(WantedLook(shed, at), Moved(at))
            found = [one.payload for one in logbook.entries("alert")]
        for one in turns:
            one.close()
        return [str(one["happening"]) for one in found if one["alert"] == "sensor-lost"]

    assert rung("hull", holds=False) == ["raised"]
    assert "cleared" in rung("yard", holds=True)


@pytest.mark.long
@pytest.mark.few(2)
@pytest.mark.parametrize(
    ("seed", "forgets"),
    [pytest.param(n, bad, id=f"{n}{'-control' * bad}") for n in range(6) for bad in (False, True)],
)
def test_a_warm_look_says_what_a_cold_one_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int, forgets: bool
) -> None:
    """To the last digit, while a layer cures: new, late and doubtful readings, closed blocks, jumps of hours.

    Control: a warm process that takes nothing to have changed in the past.
    """
    if forgets:
        monkeypatch.setattr(past_grid, "_news", lambda _, block: (block, np.inf))
    world.fill(tmp_path / "warm.sqlite", step=300.0)
    sheds = {}
    for name in ("warm", "cold"):
        (tmp_path / f"{name}.toml").write_text(f'[logbook]\npath = "{tmp_path}/{name}.sqlite"\n')
        sheds[name] = load(tmp_path / f"{name}.toml")
    rng, looks, different = random.Random(seed), Looks(looker(), sheds, "one"), 0
    with Logbook(tmp_path / "warm.sqlite") as logbook:
        (begun, *_) = logbook.entries("layer")
        at, (sensor, *_) = begun.at + 60.0, logbook.sensors()
        for _ in range(3):
            looks.look(WantedLook("warm", at), Moved(at))
            at += rng.choice([60.0, 15 * MINUTE, 3600.0])
            stamps = [at, at - rng.uniform(0.0, 600.0), at - rng.uniform(3600.0, 90_000.0)]
            logbook.append([Reading(sensor, each, at, rng.uniform(285.0, 295.0), 0.5) for each in stamps])
            if rng.random() < 0.3:
                logbook.close_block()
            Path(tmp_path / "cold.sqlite").unlink(missing_ok=True)
            logbook.copy(tmp_path / "cold.sqlite")
            looks.look(WantedLook("warm", at), Moved(at))
            cold = Looks(looker(), {"warm": sheds["cold"]}, "one")
            cold.look(WantedLook("warm", at), Moved(at))
            cold.close()
            with Logbook(tmp_path / "cold.sqlite", read_only=True) as other:
                boards_differ = boards.kept(other) != boards.kept(logbook)
                different += boards_differ or other.entries()[-9:] != logbook.entries()[-9:]
    looks.close()
    assert (different > 0) == forgets


def test_a_copy_is_looked_at_and_gets_no_line_of_its_own(sheds: dict[str, Configuration]) -> None:
    """Its own daemon tells; a silent shed would have rung."""
    key = CopyPlan(file="", key="0" * 64)
    path = sheds["hull"].logbook.path
    assert path is not None
    with Logbook(path) as logbook:
        before = logbook.head()
        looks = Looks(looker(hull=key), sheds, "one")
        looks.look(WantedLook("hull", NOW + 7200), Moved(NOW + 7200))
        looks.close()
        assert logbook.head() == before
        found = boards.kept(logbook)
    assert found is not None
    assert found.advice.verdict == "unknown"


def test_a_store_that_refuses_leaves_the_look_to_another(
    sheds: dict[str, Configuration], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the logbook is opened anew."""
    looks = Looks(looker(), sheds, "one")

    def away(*_: object, **__: object) -> int:
        raise StoreFailed("the database is away")

    with monkeypatch.context() as patched:
        patched.setattr(Logbook, "append", away)
        with pytest.raises(StoreFailed):
            looks.look(WantedLook("hull", NOW), Moved(NOW))
    looks.look(WantedLook("hull", NOW), Moved(NOW))
    assert looks.made == 1
    looks.close()


def times_rung(shed: Configuration, *, daemon_stays: bool) -> int:
    """A looker and the shed's own daemon look in turn; how often the alert of its silent sensor is raised."""
    path, late, looks = logbook_path(shed), NOW + 7200.0, Looks(looker(), {"hull": shed}, "one")
    looks.look(WantedLook("hull", NOW), Moved(NOW))
    with Logbook(path) as logbook:
        logbook.hold("curewatch ingest", NOW)
        said = Evaluation(shed, logbook)(Instant(late, late), "minute")
        logbook.append(entries=[one for one in said if isinstance(one, Entry)])
        if not daemon_stays:
            logbook.let_go()
        with suppress(InUse):
            looks.look(WantedLook("hull", late), Moved(late))
        found = [one.payload for one in logbook.entries("alert")]
    looks.close()
    return sum(one["alert"] == "sensor-lost" and one["happening"] == "raised" for one in found)


@pytest.mark.long
def test_a_daemon_and_a_looker_never_both_ring(sheds: dict[str, Configuration]) -> None:
    """Neither beside each other nor in turn."""
    assert times_rung(sheds["hull"], daemon_stays=True) == 1
    with Logbook(logbook_path(sheds["yard"])) as logbook:
        logbook.append(told(NOW - 180 * MINUTE, NOW))
    assert times_rung(sheds["yard"], daemon_stays=False) == 1


@pytest.mark.parametrize("daemon_stays", [True, False])
def test_without_the_hold_or_the_memory_both_would_ring(
    sheds: dict[str, Configuration], monkeypatch: pytest.MonkeyPatch, daemon_stays: bool
) -> None:
    """The control of the test above."""
    monkeypatch.setattr(Looks, "_alone_since", lambda *_: True)
    if daemon_stays:
        monkeypatch.setattr(Logbook, "hold", lambda *_: None)
    assert times_rung(sheds["hull"], daemon_stays=daemon_stays) == 2


@pytest.mark.long
def test_a_shed_with_its_own_daemon_is_refused_by_name(sheds: dict[str, Configuration]) -> None:
    """Told to the operator and in the shed, until the daemon is gone, or nobody looks any more."""
    at, looks = NOW + 60.0, Looks(looker(), sheds, "one")
    with Logbook(logbook_path(sheds["hull"])) as logbook:
        logbook.hold("curewatch ingest", NOW)
        with pytest.raises(InUse, match="in use by curewatch ingest, process"):
            looks.look(WantedLook("hull", at), Moved(at))
        (line, *_) = boards.fleet_document(boards.seen(sheds, at), at).sheds
        assert (line.shed, line.verdict, line.ringing) == ("hull", "unknown", 1)
        assert "twice: curewatch ingest, process" in line.reason.text
        (signal,) = copied.signals(logbook, {}, at)
        assert "two look after this shed" in str(signal.text)
        assert "curewatch fleet look, one" in str(signal.text)
        assert list(copied.signals(logbook, {}, at + copied.TWICE_LASTS)) == []
    looks.look(WantedLook("hull", at), Moved(at))
    assert looks.made == 1
    assert shown(sheds, at)["hull"][0] != "unknown"
    looks.close()


def test_a_look_waits_for_the_look_of_another(
    sheds: dict[str, Configuration], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And is refused after some seconds; nothing of it is told in the shed."""
    looks = Looks(looker(), sheds, "one")
    with Logbook(logbook_path(sheds["hull"])) as other:
        other.hold(HOLDER, NOW)
        with monkeypatch.context() as patched:
            patched.setattr(looker_module, "FOR_A_LOOK", 0.0)
            with pytest.raises(InUse, match="in use by curewatch fleet look, process"):
                looks.look(WantedLook("hull", NOW), Moved(NOW))
        assert copied.twice(other, NOW) is None
        monkeypatch.setattr(looker_module.time, "sleep", lambda _: other.let_go())
        looks.look(WantedLook("hull", NOW), Moved(NOW))
    assert looks.made == 1
    looks.close()


def fleet_file(folder: Path) -> Path:
    key = "0" * 64
    (folder / "fleet.toml").write_text(
        "[broker]\nhosts = ['none']\n[sheds]\nhull = 'hull.toml'\n"
        f"[copies.yard]\nfile = 'yard.toml'\nkey = '{key}'\n"
    )
    return folder / "fleet.toml"


def test_the_commands_show_the_fleet_and_settle_a_fork(
    sheds: dict[str, Configuration], tmp_path: Path
) -> None:
    """A fork rings above all else until it is settled, in lines and in numbers."""
    file, path = fleet_file(tmp_path), sheds["yard"].logbook.path
    assert path is not None
    with Logbook(path) as logbook:
        logbook.append(notes={copying.FORK: b'{"code": "fork", "told": "two chains of one shed", "at": 1.0}'})

    def said(*words: str) -> str:
        done = CliRunner().invoke(app, [*words], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done.output

    first, second, *rest = said("sheds", str(file)).splitlines()
    assert "2 sheds: 1 with alerts, 2 unknown" in first
    assert "yard  UNKNOWN  1 ALERT  fork: two chains of one shed" in second
    assert "nobody has looked at it yet" in rest[0]
    assert f"Its board: curewatch watch --look --config {tmp_path}/yard.toml" in rest[-1]
    told = said("sheds", str(file), "--metrics")
    parsed = {one.name: one for one in text_string_to_metric_families(told)}
    assert [one.labels for one in parsed["curewatch_fleet_refused"].samples] == [
        {"shed": "yard", "code": "fork"}
    ]
    assert 'curewatch_fleet_refused{shed="yard",code="fork"} 1\n' in told
    assert 'curewatch_fleet_sheds{verdict="unknown"} 2\n' in told
    assert "let go of: two chains of one shed" in said("settle", str(file), "--copy", "yard")
    assert "nothing stood against it" in said("settle", str(file), "--copy", "yard")
    answer = json.loads(said("sheds", str(file), "--json"))
    Draft202012Validator(json.loads(catalogue.schema("fleet sheds"))).validate(answer)
    assert answer["sheds"][0]["ringing"] == 0
    assert "fleet_refused{" not in said("sheds", str(file), "--metrics")
    with pytest.raises(UsageError, match=r"found 'hull'\. Use one of yard"):
        CliRunner().invoke(app, ["settle", str(file), "--copy", "hull"], catch_exceptions=False)


def test_bare_it_shows_the_sheds_of_the_file_here(
    sheds: dict[str, Configuration],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """As ``sheds`` does, with its status; where no such file is, its help and the status of a mistake."""

    def said(*words: str) -> tuple[int, list[str], str]:
        with pytest.raises(SystemExit) as stop:
            run(["fleet", *words])
        told = capsys.readouterr()
        return int(stop.value.code or 0), told.out.splitlines()[1:], told.err  # the first line has the time

    monkeypatch.chdir(tmp_path)
    status, out, err = said()
    assert (status, out) == (2, [])
    assert "Usage: curewatch fleet" in err
    assert "sheds" in err
    fleet_file(tmp_path)
    status, out, err = said()
    assert (status, out, err) == said("sheds", "fleet.toml")
    assert (status, len(out), err) == (0, 3, "")
    assert {line.split()[0] for line in out[:2]} == set(sheds)


def deployed(name: str) -> Any:
    """A file for servers, read as what it is."""
    return pytest.importorskip("yaml").safe_load(CliRunner().invoke(app, ["deploy", name]).output)


def test_the_rules_name_what_there_is(sheds: dict[str, Configuration]) -> None:
    """Each rule has its parts, and each number that it names, with its labels, is among ours."""
    (group,) = deployed("rules.yaml")["groups"]
    line = boards.seen(sheds, NOW)[0].line
    found = boards.families([SeenShed(line, 1.0, "fork", 1.0)])
    labels = {one.name: {key for each, _ in one.samples for key in each} for one in found}
    named = set()
    for rule in group["rules"]:
        assert rule.keys() - {"for"} == {"alert", "expr", "labels", "annotations"}
        used = set(re.findall(r"\{(\w+)=", rule["expr"]))
        used |= set(re.findall(r"\$labels\.(\w+)", rule["annotations"]["summary"]))
        for number in re.findall(r"curewatch_\w+", rule["expr"]):
            assert used <= labels[number], rule
            named.add(number)
    assert named == labels.keys()


FIRES = {  # rule -> its numbers when it rings at last, and when it does not
    "ShedRefused": ('curewatch_fleet_refused{shed="hull",code="fork"}', "1x30", "0x30"),
    "NobodyLooks": ('curewatch_fleet_look_age_seconds{shed="hull"}', "901x30", "900x30"),
    "NothingStored": ('curewatch_fleet_reading_age_seconds{shed="hull"}', "1801x30", "1800x30"),
    "ManyUnknown": ('curewatch_fleet_sheds{verdict="unknown"}', "2x30", "1x30"),
    "ShedRings": ('curewatch_fleet_alerts{shed="hull"}', "1x30", "1x5 0x24"),
}


def ringing(folder: Path, rule: str, numbers: str) -> bool:
    """Whether the tool for such rules has it ring after 20 minutes, beside nine sheds that are go."""
    others = {"series": 'curewatch_fleet_sheds{verdict="go"}', "values": "9x30"}
    trial = {
        "interval": "1m",
        "input_series": [{"series": FIRES[rule][0], "values": numbers}, others],
        "alert_rule_test": [{"eval_time": "20m", "alertname": rule}],  # nothing is expected
    }
    file = {"rule_files": ["rules.yaml"], "evaluation_interval": "1m", "tests": [trial]}
    (folder / "trial.yaml").write_text(json.dumps(file))
    return f'alertname="{rule}"' in promtool(folder, "test", "rules", "trial.yaml")


def promtool(folder: Path, *words: str) -> str:
    """What it complains of."""
    done = subprocess.run(["promtool", *words], cwd=folder, capture_output=True, text=True, check=False)
    assert (done.returncode == 0) == (not done.stderr), done
    return done.stderr


@pytest.mark.long
def test_each_rule_rings_at_its_limit_and_not_below(tmp_path: Path) -> None:
    """By the tool of those who run such rules; a rule that is broken is refused."""
    there = shutil.which("promtool") is not None
    assert there or not REQUIRED, "promtool (package prometheus) is required here and is not installed"
    if not there:
        pytest.skip("needs promtool")
    text = CliRunner().invoke(app, ["deploy", "rules.yaml"]).output
    (tmp_path / "rules.yaml").write_text(text)
    (tmp_path / "broken.yaml").write_text(text.replace("sum(", "sun("))
    assert promtool(tmp_path, "check", "rules", "rules.yaml") == ""
    assert "unknown function" in promtool(tmp_path, "check", "rules", "broken.yaml")
    for rule, (_, above, below) in FIRES.items():
        assert ringing(tmp_path, rule, above), rule
        assert not ringing(tmp_path, rule, below), rule


def test_the_composed_fleet_listens_on_this_machine_only() -> None:
    """Three nodes of one cluster, a store with a standby that it waits for, two of each worker."""
    parts = deployed("compose.yaml")
    services = parts["services"]
    ports = [port for one in services.values() for port in one.get("ports", ())]
    assert len(ports) == 3
    assert all(port.startswith("127.0.0.1:") for port in ports)
    nodes = re.findall(r"nodes\.\d = rabbit@(\w+)", parts["configs"]["broker"]["content"])
    assert nodes == [name for name, one in services.items() if one["image"].startswith("rabbitmq")]
    told = " ".join(services["primary"]["command"].split())
    for name, (good, _, _) in STORE.items():
        assert f"{name}={good[0] if good else 'two'}" in told
    assert "application_name=two" in parts["configs"]["follow"]["content"]
    assert [services[one]["deploy"]["replicas"] for one in ("intake", "look")] == [2, 2]


def test_a_request_is_read_or_refused() -> None:
    with pytest.raises(msgspec.DecodeError):
        msgspec.json.decode(b'{"shed": 1}', type=WantedLook)
