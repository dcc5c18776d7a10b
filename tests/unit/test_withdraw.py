"""`curewatch job withdraw`: an entry that should not be there is withdrawn by a new one, never taken away."""

import json
from pathlib import Path
from typing import Any

import pytest

from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.logbook import EntryKind, Logbook, sealing
from curewatch.record.account import gather
from curewatch.record.pages import pages
from curewatch.shed import layer_log, learnt
from curewatch.worklog import read


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    """A job with a batch, a layer from it, and an observation of that layer: entries 1 to 4."""
    (tmp_path / "curewatch.toml").write_text('[logbook]\npath = "shed.sqlite"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(tmp_path / "curewatch.toml"))
    monkeypatch.setenv("LC_ALL", "C")
    typed(capsys, "job", "open", "--title", "cheek", "--by", "Reed", "--ago", "9 h", "--resin", "epoxy-slow")
    typed(capsys, "job", "batch", "--resin-mass", "200g", "--hardener-mass", "44g", "--ago", "8 h")
    typed(capsys, "layer", "--batch", "B1")
    typed(capsys, "observe", "gelled", "--temperature", "20", "--force")
    return tmp_path / "shed.sqlite"


def typed(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """Its answer in JSON."""
    with pytest.raises(SystemExit) as left:
        run([*words, "--json"])
    said = capsys.readouterr()
    assert not left.value.code, said.err
    return json.loads(said.out)


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as left:
        run([*words])
    assert left.value.code == 2
    return capsys.readouterr().err


def kinds(path: Path) -> dict[int, str]:
    with Logbook(path, read_only=True) as logbook:
        return {each.number: str(each.kind) for each in logbook.entries(job="J1")}


def test_layers_and_lessons_heed_it_and_the_chain_goes_on(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is withdrawn counts down and teaches no more; every entry that was there still is."""
    before = kinds(shed)
    assert list(before.values()) == ["job-open", "batch", "layer", "observation"]
    batch, layer, seen = list(before)[1:]
    now = SystemClock().now().utc
    with Logbook(shed, read_only=True) as logbook:
        assert [each.layer for each in layer_log.running(logbook, now)] == ["L1"]
        assert len(list(learnt.standing(logbook))) == 1
    for number in (seen, layer, batch):
        told = typed(capsys, "job", "withdraw", str(number), "--reason", "told in the wrong job")
        assert told["payload"]["corrects"] == number
        assert told["payload"]["changes"] == {"withdrawn": True}
        assert (told["payload"]["reason"], told["payload"]["by"]) == ("told in the wrong job", "Reed")
    with Logbook(shed, read_only=True) as logbook:
        assert layer_log.running(logbook, SystemClock().now().utc) == ()
        assert not list(learnt.standing(logbook))
        job = read(logbook, "J1")
        assert not job.of(EntryKind.BATCH)
        assert logbook.verify()
    after = kinds(shed)
    assert before.items() <= after.items()
    assert list(after.values())[4:] == ["correction"] * 3
    assert typed(capsys, "layer", "--running")["running"] == []
    assert typed(capsys, "layer", "--mass", "100g")["running"][0]["layer"] == "L2"  # no name is given twice


def test_a_record_shows_both(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The entry is marked, the withdrawal stands among the corrections, with its reason."""
    seen = max(kinds(shed))
    typed(capsys, "job", "withdraw", str(seen), "--reason", "it was the other cup", "--by", "Alder")
    with Logbook(shed) as logbook:
        seal = sealing.seal(logbook, reason="record", at=SystemClock().now().utc)
        said = str(list(pages(gather(logbook, "J1", seal))))
    assert "Observed on layer L1: gelled (withdrawn" in said
    assert f"of entry {seen}: withdrawn. it was the other cup" in said


def test_a_layer_that_was_closed_by_mistake_runs_again(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The close is an entry like others."""
    typed(capsys, "layer", "--close", "L1")
    assert typed(capsys, "layer", "--running")["running"] == []
    typed(capsys, "job", "withdraw", str(max(kinds(shed))), "--reason", "the wrong layer")
    assert [each["layer"] for each in typed(capsys, "layer", "--running")["running"]] == ["L1"]


def test_what_cannot_be_withdrawn_is_refused_and_nothing_is_written(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What others rest on, the opening, what the daemon told, twice, and without a reason."""
    opened, batch, layer, seen = kinds(shed)
    because = ("--reason", "told twice")
    cases = [
        (str(batch), f"found what was told of it. Withdraw that first: entry {layer}"),
        (str(layer), f"found what was told of it. Withdraw that first: entry {seen}"),
        (str(opened), f"found 'job open', which others go by. Use `curewatch job correct {opened}`"),
        ("999", "cannot be corrected"),
    ]
    for number, said in cases:
        assert said in refused(capsys, "job", "withdraw", number, *because)
    assert "--reason: found none" in refused(capsys, "job", "withdraw", str(seen), "--reason", " ")
    assert len(kinds(shed)) == 4
    typed(capsys, "job", "withdraw", str(seen), *because)
    assert "found it withdrawn already" in refused(capsys, "job", "withdraw", str(seen), *because)
