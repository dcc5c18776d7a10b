"""The job log keeps what was told, shows what was corrected, and refuses what cannot be."""

import contextlib
import json
from pathlib import Path
from typing import Any

import pytest

from curewatch.cli.forms import fill
from curewatch.cli.job_forms import FORMS
from curewatch.cli.main import run
from curewatch.clock import SystemClock, iso_utc
from curewatch.daemon import external_entries
from curewatch.errors import ExitStatus, UsageError
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.shed import layer_log
from curewatch.wording import Wording
from curewatch.worklog import quality
from curewatch.worklog.fields import Field, one_of, words


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """A configuration with a logbook of its own."""
    file = tmp_path / "curewatch.toml"
    file.write_text(f'[shed]\nboat = "Kittiwake Nine"\n[logbook]\npath = "{tmp_path / "shed.sqlite"}"\n')
    return file


def told(shed: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    """What ``curewatch job …`` answers as JSON."""
    status = 0
    try:
        run(["job", *arguments, "--config", str(shed), "--json"])
    except SystemExit as end:
        status = int(end.code or 0)
    found = capsys.readouterr()
    assert status == 0, found.err
    return json.loads(found.out)


def rejected(shed: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The message with which ``curewatch job …`` refuses."""
    with pytest.raises(SystemExit) as end:
        run(["job", *arguments, "--config", str(shed)])
    found = capsys.readouterr()
    assert end.value.code, found.out
    assert "Traceback" not in found.err
    return found.err


def test_a_job_runs_from_open_to_a_sealed_close(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Open, a batch, a note, close: each stands in the chain, and the close prints a seal code."""
    opened = told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    assert opened["payload"]["boat"] == "Kittiwake Nine"
    mixed = told(
        shed, capsys, "batch", "--resin-mass", "200 g", "--hardener-mass", "44", "--resin-lot", "demo 7"
    )
    assert mixed["payload"]["batch"] == "B1"
    assert mixed["payload"]["resin_mass"] == pytest.approx(0.2)
    assert mixed["payload"]["ratio"]["within"] is True
    late = told(shed, capsys, "note", "--text", "fillets first", "--ago", "20 min")
    assert late["payload"]["given_afterwards"] is True
    closed = told(shed, capsys, "close", "--outcome", "ready to sand")
    assert len(closed["seal_code"]) > 8
    assert told(shed, capsys, "list")["jobs"][0]["closed"] is not None
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        logbook.verify()
        own = [EntryKind.JOB_OPEN, EntryKind.BATCH, EntryKind.NOTE, EntryKind.JOB_CLOSE]
        assert [entry.kind for entry in logbook.entries(job="J1")] == own
        assert logbook.entries()[-1].kind == EntryKind.SEAL


def test_a_ratio_outside_its_tolerance_is_not_written_down_unless_insisted_on(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The cup is refused with how to mend it; --force records it as what it was: outside."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    message = rejected(shed, capsys, "batch", "--resin-mass", "200 g", "--hardener-mass", "30 g")
    assert "outside its tolerance" in message
    assert "add 14 g of hardener" in message
    kept = told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "30", "--force")
    assert kept["payload"]["batch"] == "B1"
    assert kept["payload"]["ratio"]["within"] is False


def test_a_correction_is_a_new_entry_and_both_are_shown(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The value that holds now is the corrected one; the first word stays as it was."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    batch = told(
        shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44", "--resin-lot", "demo 7"
    )
    number = str(batch["number"])
    told(shed, capsys, "correct", number, "--set", "resin_lot=demo 8", "--reason", "read the wrong tin")
    entries = told(shed, capsys, "show")["entries"]
    (found,) = [entry for entry in entries if entry["kind"] == "batch"]
    assert found["payload"]["resin_lot"] == "demo 7"
    assert found["holds_now"]["resin_lot"] == "demo 8"
    assert len(found["corrected_by"]) == 1
    assert "Use KEY=VALUE" in rejected(
        shed, capsys, "correct", number, "--set", "colour=red", "--reason", "x"
    )
    assert "cannot be corrected" in rejected(
        shed, capsys, "correct", "99", "--set", "at=now", "--reason", "x"
    )
    nowhere = rejected(shed, capsys, "correct", "99", "--set", "resin_lot=demo 8", "--reason", "x")
    assert "entry 99 of job J1 cannot be corrected; those that people told can: 1, 2" in nowhere


def test_a_log_says_what_each_correction_found_and_what_came_after_a_close_that_holds(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A second correction starts from the first; a job that was opened again has no close; words, no keys."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    batch = str(told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44")["number"])
    laid(shed, capsys, "--batch", "B1", "--moisture", "11", "--on", "bare-timber")
    for mass in ("203 g", "202 g"):
        capsys.readouterr()
        with pytest.raises(SystemExit):
            run(
                [
                    "job",
                    "correct",
                    batch,
                    "--set",
                    f"resin_mass={mass}",
                    "--reason",
                    "x",
                    "--config",
                    str(shed),
                ]
            )
    assert "resin mass: 203 g -> 202 g" in capsys.readouterr().out
    told(shed, capsys, "close")
    told(shed, capsys, "reopen", "--job", "J1", "--reason", "a second coat")
    told(shed, capsys, "note", "--text", "abraded")
    with Logbook(shed.parent / "shed.sqlite") as logbook:
        logbook.write(
            Entry(EntryKind.ACCOUNT, {"account": "5f1c", "units": {"fahrenheit": False}}, 2e9, job="J1")
        )
    with pytest.raises(SystemExit):
        run(["job", "show", "--config", str(shed)])
    shown = capsys.readouterr().out
    assert "resin mass was 200 g; x" in shown
    assert "resin mass was 203 g; x" in shown
    assert "moisture 11 %" in shown
    assert "record written" in shown
    for raw in ("resin_mass", "after the close", "face own no", "fahrenheit", "5f1c"):
        assert raw not in shown, raw


def test_lots_are_carried_to_the_next_batch_but_masses_are_not(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last entry's lots hold until another is named; a mass is weighed each time."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44", "--resin-lot", "demo 7")
    second = told(shed, capsys, "batch", "--resin-mass", "100", "--hardener-mass", "22")
    assert second["payload"]["batch"] == "B2"
    assert second["payload"]["resin_lot"] == "demo 7"
    assert "--resin-mass" in rejected(shed, capsys, "batch", "--hardener-mass", "22")


def test_words_from_outside_cannot_act_on_the_terminal(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An escape code in a note is shown written out."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    told(shed, capsys, "note", "--text", "\x1b[31mred [bold]loud[/bold] =1+1")
    with pytest.raises(SystemExit):
        run(["job", "show", "--config", str(shed)])
    shown = capsys.readouterr().out
    assert "\x1b" not in shown
    assert "[bold]loud[/bold]" in shown


def test_a_photo_is_known_by_its_hash(shed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Name, size, hash and thumbnail are kept; what is no picture is refused."""
    from hashlib import sha256

    from PIL import Image

    picture = tmp_path / "scarf.png"
    Image.new("RGB", (800, 600), "white").save(picture)
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    entry = told(shed, capsys, "photo", str(picture), "--text", "scarf ground")
    assert entry["payload"]["sha256"] == sha256(picture.read_bytes()).hexdigest()
    assert (entry["payload"]["width"], entry["payload"]["height"]) == (800, 600)
    rubbish = tmp_path / "rubbish.jpg"
    rubbish.write_bytes(b"\xff\xd8\xff no picture")
    assert "is not a picture" in rejected(shed, capsys, "photo", str(rubbish))
    assert "cannot be read" in rejected(shed, capsys, "photo", str(tmp_path / "gone.jpg"))


def test_several_open_jobs_must_be_told_apart(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With two jobs open nothing is guessed."""
    assert "no job is open" in rejected(shed, capsys, "note", "--text", "x")
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    told(shed, capsys, "open", "--ago", "6 d", "--title", "coach-roof edge", "--name", "roof")
    assert "several jobs are open (J1, roof)" in rejected(shed, capsys, "note", "--text", "x")
    assert told(shed, capsys, "note", "--text", "x", "--job", "roof")["job"] == "roof"
    assert "already" in rejected(shed, capsys, "open", "--title", "again", "--name", "roof")
    assert "no layer" in rejected(shed, capsys, "peel-ply", "--action", "on", "--job", "roof")


FIELDS = (
    Field("title", "Title", words, needed=True),
    Field("action", "On or off", one_of("on", "off"), needed=True),
    Field("by", "Who", words, carried=True),
)


def test_a_form_offers_what_stood_in_the_units_of_the_person() -> None:
    """The last mass in ounces, the last temperature in Fahrenheit; Enter takes them as they were."""
    fields = [field for field in FORMS[EntryKind.BATCH] if field.key in {"resin_mass", "pot_temperature"}]
    offered = []

    def enter(question: str, before: str) -> str:
        offered.append(before)
        return before

    last, nothing = {"resin_mass": 0.2, "pot_temperature": 291.15}, {"resin_mass": None}
    found = fill(fields, nothing, last, enter, Wording(fahrenheit=True, ounces=True))
    assert offered == ["7.05 oz", "64.4 °F"]
    assert found == pytest.approx(last, rel=1e-3)
    fill(fields, nothing, last, enter)
    assert offered[2:] == ["200 g", "18.0 °C"]


def test_a_form_asks_until_it_can_read_the_answer() -> None:
    """A wrong answer is asked again, Enter takes the default, and what is not needed may stay empty."""
    answers = iter(["rudder", "sideways", "on", ""])
    asked: list[tuple[str, str]] = []

    def ask(question: str, before: str) -> str:
        asked.append((question, before))
        return next(answers) or before

    found = fill(FIELDS, {"title": None, "action": None, "by": None}, {"by": "the owner"}, ask)
    assert found == {"title": "rudder", "action": "on", "by": "the owner"}
    assert [question for question, _ in asked] == ["Title", "On or off", "On or off", "Who"]


def test_a_form_with_options_asks_only_for_what_is_needed_and_missing() -> None:
    """With one option typed, optional fields are not asked; without a terminal they are refused by name."""
    found = fill(FIELDS, {"title": "rudder", "action": None, "by": None}, {}, lambda question, before: "off")
    assert found == {"title": "rudder", "action": "off"}
    with pytest.raises(UsageError, match="--action"):
        fill(FIELDS, {"title": "rudder", "action": None, "by": None}, {})


def laid(shed: Path, capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    """The payload of the layup entry that ``curewatch layer …`` writes."""
    with pytest.raises(SystemExit) as end:
        run(["layer", *arguments, "--config", str(shed)])
    assert not end.value.code, capsys.readouterr().err
    capsys.readouterr()
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        entry = logbook.entries(EntryKind.LAYER)[-1]
    return {**entry.payload, "entry": entry}


def test_a_layer_is_laid_from_the_batches_of_the_open_job(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lot, pot and the hour of mixing come from the cups that were named; layers and cloth are kept."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek", "--resin", "epoxy-fast")
    begun = SystemClock().now().utc
    told(
        shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44", "--resin-lot", "demo 7",
        "--ago", "12 min",
    )  # fmt: skip
    told(shed, capsys, "batch", "--resin-mass", "100", "--hardener-mass", "22")
    payload = laid(shed, capsys, "--batch", "b1", "--batch", "B2", "--layers", "3", "--cloth", "biaxial 450")
    assert payload["job"] == payload["entry"].job == "J1"
    assert payload["batches"] == ["B1", "B2"]
    assert (payload["layers"], payload["cloth"], payload["resin"]) == (3, "biaxial 450", "epoxy-fast")
    assert payload["batch_mass"] == pytest.approx(0.244)
    assert payload["lot"] == "demo 7"
    recorded = payload["entry"].recorded
    assert 719 <= recorded - payload["started"] <= 721 + recorded - begun  # commands take their time
    assert payload["given_afterwards"] is True


def test_what_was_told_of_the_cloth_is_kept_and_makes_the_layer_as_thick(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Orientation, lot and share of fibre stand in the log; a corrected number of layers is followed."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    cloth = ("--cloth", "biaxial 450", "--layers", "2")
    usual = laid(shed, capsys, "--part", "fin", *cloth)
    more = ("--orientation", "0/90, 45", "--cloth-lot", "C-77", "--fibre-share", "60")
    payload = laid(shed, capsys, "--part", "cheek", *cloth, *more)
    assert (payload["orientation"], payload["cloth_lot"]) == ("0/90, 45", "C-77")
    assert payload["fibre_share"] == payload["fibre"] == pytest.approx(0.6)
    assert payload["thickness"] < usual["thickness"]
    number = payload["entry"].number
    told(shed, capsys, "correct", str(number), "--set", "layers=3", "--reason", "miscounted")
    held = {one["number"]: one["holds_now"] for one in told(shed, capsys, "show")["entries"]}
    assert held[number]["thickness"] == pytest.approx(1.5 * payload["thickness"])
    assert held[number]["fibre"] == pytest.approx(0.6)


def test_a_layer_knows_only_batches_and_jobs_that_are_there(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is guessed: a mass for a batch, an unknown batch, an unknown or doubtful job are refused."""
    for arguments, said in (
        (["--batch", "B1"], "found no open job"),
        (["--job", "rudder"], "no job 'rudder'"),
        (["--batch", "150 g"], "--mass 150 g"),
        (["--layers", "many"], "from 1 to 99"),
    ):
        with pytest.raises(SystemExit) as end:
            run(["layer", *arguments, "--config", str(shed)])
        assert end.value.code == 2
        assert said in capsys.readouterr().err
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44", "--resin", "epoxy-slow")
    told(shed, capsys, "batch", "--resin-mass", "100", "--peroxide-mass", "1.5", "--resin", "vinyl-ester")
    for arguments, said in (
        (["--batch", "B9"], "its batches: B1, B2"),
        (["--batch", "B1", "--batch", "B2"], "several resin systems"),
        (["--batch", "B2", "--resin", "epoxy-fast"], "the batches are of vinyl-ester"),
    ):
        with pytest.raises(SystemExit):
            run(["layer", *arguments, "--config", str(shed)])
        assert said in capsys.readouterr().err
    assert laid(shed, capsys, "--batch", "B2")["peroxide_percent"] == pytest.approx(1.5)


@pytest.mark.long
def test_a_layup_and_what_was_seen_of_it_can_be_corrected(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Batches, cloth and the hour of a layup; the word of an observation: each by its own reader."""
    from curewatch.shed.layer_log import running

    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44")
    entry = laid(shed, capsys, "--ago", "40 min")["entry"]
    number = str(entry.number)
    told(
        shed,
        capsys,
        "correct",
        number,
        "--set",
        "batches=B1",
        "--set",
        "cloth=twill",
        "--reason",
        "forgotten",
    )
    earlier = iso_utc(entry.recorded - 3600)
    told(shed, capsys, "correct", number, "--set", f"at={earlier}", "--reason", "the other clock", "--force")
    (found,) = [one for one in told(shed, capsys, "show")["entries"] if one["kind"] == "layer"]
    assert found["holds_now"]["batches"] == ["B1"]
    with Logbook(shed.parent / "shed.sqlite") as logbook:
        (layer,) = running(logbook, entry.recorded)
        assert layer.started == pytest.approx(entry.recorded - 3600, abs=1)
        seen = logbook.write(Entry("observation", {"layer": "L1", "observed": "gelled"}, entry.at, job="J1"))
    told(shed, capsys, "correct", str(seen.number), "--set", "observed=kicked", "--reason", "misread")
    assert "Use kicked" in rejected(
        shed, capsys, "correct", str(seen.number), "--set", "observed=green", "--reason", "x"
    )


def test_a_corrected_lot_is_corrected_wherever_it_was_taken_from_there(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its layer and what was seen of it follow, or the wrong lot would be the one that learns."""
    from curewatch.shed import learnt

    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    weighed = ["batch", "--resin-mass", "200", "--hardener-mass", "44"]
    batch = told(shed, capsys, *weighed, "--resin-lot", "demo 7")["number"]
    laid(shed, capsys, "--batch", "B1")
    laid(shed, capsys, "--batch", "B1", "--lot", "another tin")
    with Logbook(shed.parent / "shed.sqlite") as logbook:
        for layer, lot in (("L1", "demo 7"), ("L2", "another tin")):
            payload = {"layer": layer, "observed": "gelled", "lot": lot}
            logbook.write(Entry("observation", payload, SystemClock().now().utc, job="J1"))
    told(shed, capsys, "correct", str(batch), "--set", "resin_lot=demo 8", "--reason", "read the wrong tin")
    entries = told(shed, capsys, "show")["entries"]
    lots = {
        (one["kind"], one["payload"]["layer"]): (one["holds_now"] or one["payload"])["lot"]
        for one in entries
        if one["kind"] in {"layer", "observation"}
    }
    assert lots["layer", "L1"] == lots["observation", "L1"] == "demo 8"
    assert lots["layer", "L2"] == lots["observation", "L2"] == "another tin"
    with Logbook(shed.parent / "shed.sqlite") as logbook:
        assert [payload["lot"] for _, payload in learnt.standing(logbook)] == ["demo 8", "another tin"]


def test_a_corrected_mass_is_corrected_at_the_layers_that_took_it_from_there(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The pot and the dose of a layer are those of its batch, unless somebody told others of the layer."""
    told(
        shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek", "--resin", "polyester-laminating"
    )
    weighed = ["batch", "--resin-mass", "500", "--peroxide-mass", "10"]
    batch = told(shed, capsys, *weighed)["number"]
    told(shed, capsys, *weighed)
    taken = laid(shed, capsys, "--batch", "B1", "--part", "a")["entry"].number
    other = laid(shed, capsys, "--batch", "B1", "--mass", "90 g", "--part", "b")["entry"].number
    beside = laid(shed, capsys, "--batch", "B2", "--part", "c")["entry"].number
    told(shed, capsys, "correct", str(batch), "--set", "peroxide_mass=7.5 g", "--reason", "misread")
    held = {one["number"]: one["holds_now"] for one in told(shed, capsys, "show")["entries"]}
    got = [(held[n]["batch_mass"], held[n]["peroxide_percent"]) for n in (taken, other, beside)]
    assert got == [
        (pytest.approx(0.5075), pytest.approx(1.5)),
        (pytest.approx(0.09), pytest.approx(1.5)),
        (pytest.approx(0.51), pytest.approx(2.0)),
    ]


def test_the_first_batch_takes_the_lot_on_the_shelf(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The configured lot is that of the configured resin, and of no other."""
    shed.write_text(shed.read_text() + '[resin]\nname = "epoxy-slow"\nlot = "A-17"\n')
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    assert told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44")["payload"][
        "resin_lot"
    ] == "A-17"  # fmt: skip
    told(
        shed,
        capsys,
        "open",
        "--ago",
        "6 d",
        "--title",
        "coach-roof edge",
        "--name",
        "roof",
        "--resin",
        "epoxy-fast",
    )
    other = told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44", "--job", "roof")
    assert "resin_lot" not in other["payload"]


def test_a_batch_of_another_resin_takes_no_lot_of_the_last_one(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lot, maker and expiry are of a tin: a record must not give the epoxy's to the polyester, nor back."""
    shed.write_text(shed.read_text() + '[resin]\nname = "epoxy-slow"\nlot = "A-17"\n')
    epoxy = ("batch", "--resin", "epoxy-slow", "--resin-mass", "200", "--hardener-mass", "44")
    polyester = ("batch", "--resin", "polyester-laminating", "--resin-mass", "200", "--peroxide-mass", "4")
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    first = told(shed, capsys, *polyester)["payload"]
    assert not {"resin_lot", "hardener_lot", "resin_expiry"} & first.keys()
    assert told(shed, capsys, *epoxy)["payload"]["resin_lot"] == "A-17"
    told(shed, capsys, *epoxy, "--resin-lot", "demo 7", "--resin-expiry", "2030-05-31")
    told(shed, capsys, *polyester, "--resin-lot", "demo 9", "--peroxide-lot", "demo 10")
    again = told(shed, capsys, *epoxy)["payload"]
    assert (again["resin_lot"], again["resin_expiry"]) == ("demo 7", "2030-05-31")
    last = told(shed, capsys, *polyester)["payload"]
    assert (last["resin_lot"], last["peroxide_lot"]) == ("demo 9", "demo 10")
    assert "resin_expiry" not in last


def test_a_batch_says_what_it_takes_from_the_last_one(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Lot, maker and expiry that nobody told are said; those told are not; a new lot takes no old expiry."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    batch = ("job", "batch", "--resin-mass", "200", "--hardener-mass", "44", "--config", str(shed))
    tin = ("--resin-lot", "demo 7", "--resin-product", "Demo A", "--resin-expiry", "2030-05-31")
    said = []
    for more in (tin, (), ("--resin-lot", "demo 8")):
        with contextlib.suppress(SystemExit):
            run([*batch, *more])
        said.append(capsys.readouterr().err)
    taken = "resin lot demo 7, resin product Demo A, resin expiry 2030-05-31"
    assert said == [
        "",
        f"curewatch: as no other was told: {taken}\n",
        "curewatch: as no other was told: resin product Demo A\n",
    ]
    shown = told(shed, capsys, "show")
    kept = [each["payload"] for each in shown["entries"] if each["kind"] == "batch"]
    assert [each.get("resin_expiry") for each in kept] == ["2030-05-31", "2030-05-31", None]


def test_no_pot_holds_more_than_was_weighed(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A layer of B1, 150 g, with 500 g in one pot is refused; of B1 and B2 with 290 g it is not."""
    shed.write_text(shed.read_text() + '[sensors.c1]\nrole = "cup"\n')
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    batch = ("batch", "--resin-mass", "123", "--hardener-mass", "27", "--probe", "c1")
    assert "--probe-mass: found 400 g, but the batch weighs 150 g" in rejected(
        shed, capsys, *batch, "--probe-mass", "400 g"
    )
    for _ in range(2):
        told(shed, capsys, *batch, "--probe-mass", "150 g")
    for more in (("--mass", "500 g"), ("--mass", "155 g", "--probe-mass", "400 g")):
        with pytest.raises(SystemExit) as end:
            run(["layer", "--batch", "B1", *more, "--config", str(shed)])
        assert end.value.code == ExitStatus.USAGE
        found = capsys.readouterr().err
        assert f"{more[-2]}: found {more[-1]}, but B1 weighed 150 g. Use at most that" in found
    with pytest.raises(SystemExit) as end:
        run(["layer", "--batch", "B1,B2", "--mass", "290 g", "--config", str(shed)])
    assert end.value.code == ExitStatus.OK


def test_a_polyester_is_told_by_its_peroxide_and_an_epoxy_by_its_hardener(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Peroxide is never called hardener: not in the entry, not in a line, not where it is asked for."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    weighed = ["batch", "--resin", "polyester-laminating", "--resin-mass", "200"]
    assert "missing: --peroxide-mass" in rejected(shed, capsys, *weighed)
    message = rejected(shed, capsys, *weighed, "--hardener-mass", "4")
    assert "polyester-laminating is mixed with peroxide. Use --peroxide-mass" in message
    message = rejected(shed, capsys, *weighed, "--peroxide-mass", "1")
    assert "add 3 g of peroxide at once" in message
    assert "Never throw a warm mix away" in message
    for grams in ("2", "6"):  # both ends of 1 to 3 % are allowed
        kept = told(shed, capsys, *weighed, "--peroxide-mass", grams, "--peroxide-lot", "P1")
    assert "hardener" not in str(kept)
    assert kept["payload"]["peroxide_mass"] == pytest.approx(0.006)
    assert "% peroxide" in kept["payload"]["ratio"]["text"]
    message = rejected(
        shed, capsys, "batch", "--resin", "epoxy-slow", "--resin-mass", "200", "--peroxide-mass", "4"
    )
    assert "Use --hardener-mass" in message
    told(shed, capsys, "correct", str(kept["number"]), "--set", "resin_mass=300 g", "--reason", "misread")
    message = rejected(
        shed, capsys, "correct", str(kept["number"]), "--set", "hardener_mass=5 g", "--reason", "misread"
    )
    assert "Use --set peroxide_mass=MASS" in message


def test_a_batch_corrected_to_another_kind_of_resin_keeps_its_mass_under_the_right_name(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told as an epoxy, it was a polyester: the same grams are peroxide, and the ratio is another."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    cup = told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44")["number"]
    told(shed, capsys, "correct", str(cup), "--set", "resin=polyester-laminating", "--reason", "wrong tin")
    held = {one["number"]: one["holds_now"] for one in told(shed, capsys, "show")["entries"]}[cup]
    assert (held["peroxide_mass"], held["hardener_mass"]) == (pytest.approx(0.044), None)
    assert held["ratio"]["within"] is False
    assert held["ratio"]["text"].startswith("22 % peroxide")


def test_a_layer_says_its_dose_and_whether_somebody_gave_it(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Assumed where nobody did; not where it was weighed or told."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    resin = ("--resin", "polyester-laminating")
    told(shed, capsys, "batch", *resin, "--resin-mass", "200", "--peroxide-mass", "3")
    assert laid(shed, capsys, "--batch", "B1")["peroxide_assumed"] is False
    assert laid(shed, capsys, *resin, "--peroxide", "2")["peroxide_assumed"] is False
    assert laid(shed, capsys, *resin)["peroxide_assumed"] is True
    with pytest.raises(SystemExit):
        run(["layer", "--running", "--config", str(shed)])
    out = capsys.readouterr().out
    assert "1.5 % peroxide, " in out
    assert "2 % peroxide (assumed)" in out


@pytest.mark.long
def test_what_hangs_on_a_corrected_value_is_worked_out_anew(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A corrected mass has its ratio checked again, a corrected lever arm gives another moment."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    cup = told(shed, capsys, "batch", "--resin-mass", "200", "--hardener-mass", "44")["number"]
    laid(shed, capsys, "--batch", "B1")
    peel = told(shed, capsys, "quality", "--check", "peel coupon", "--load", "2 kg", "--arm", "120")["number"]
    told(shed, capsys, "correct", str(cup), "--set", "hardener_mass=30 g", "--reason", "misread")
    told(shed, capsys, "correct", str(peel), "--set", "arm=60", "--reason", "misread")
    held = {one["number"]: one["holds_now"] for one in told(shed, capsys, "show")["entries"]}
    assert held[cup]["ratio"]["within"] is False
    assert held[peel]["value"] == pytest.approx(2.0 * 9.80665 * 0.06)
    with pytest.raises(SystemExit):
        run(["job", "show", "--config", str(shed)])
    assert "ratio OUT OF TOLERANCE: 15.0 of hardener" in capsys.readouterr().out
    told(shed, capsys, "correct", str(peel), "--set", "check=coin tap", "--reason", "it was none")
    held = {one["number"]: one["holds_now"] for one in told(shed, capsys, "show")["entries"]}
    assert held[peel]["value"] is None


def test_an_observation_is_shown_in_a_line_that_a_person_reads(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the model keeps of it is not poured onto the terminal."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    laid(shed, capsys, "--ago", "9 h", "--mass", "150 g")
    with pytest.raises(SystemExit):
        run(["observe", "gelled", "--temperature", "18", "--config", str(shed)])
    capsys.readouterr()
    with pytest.raises(SystemExit):
        run(["job", "show", "--config", str(shed)])
    (line,) = (one for one in capsys.readouterr().out.splitlines() if "observation" in one)
    assert "observed gelled" in line
    assert "memory" not in line
    assert len(line) < 200


def test_a_peel_coupon_gives_its_moment() -> None:
    """2 kg on a lever of 0.12 m is 2 x 9.80665 x 0.12 = 2.3536 N m, by hand."""
    assert quality.peeling_moment(2.0, 0.12) == pytest.approx(2.3536, abs=1e-4)
    with pytest.raises(UsageError):
        quality.peeling_moment(0.0, 0.1)
    with pytest.raises(UsageError, match="dial"):
        quality.barcol(120.0)


def test_what_is_told_afterwards_belongs_to_the_layer_that_lay_there_then(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Peel ply off before the second layer was mixed was the first one's; before any layer it was none's."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek", "--ago", "6 h")
    for ago in ("5 h", "10 min"):
        laid(shed, capsys, "--mass", "150 g", "--ago", ago)
    off = told(shed, capsys, "peel-ply", "--action", "off", "--ago", "30 min")
    assert off["payload"]["layer"] == "L1"
    assert told(shed, capsys, "wash", "--action", "both")["payload"]["layer"] == "L2"
    early = ["wash", "--action", "wash", "--ago"]
    assert "no layer had begun" in rejected(shed, capsys, *early, "5 h 30 min")
    assert "L2 had not begun" in rejected(shed, capsys, *early, "30 min", "--layer", "L2")


@pytest.mark.long
def test_a_job_reads_as_somebody_would_say_it(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Deeds in words, a check with its number and its lever."""
    told(
        shed,
        capsys,
        "open",
        "--ago",
        "6 d",
        "--title",
        "new rudder cheek",
        "--by",
        "the owner",
        "--ago",
        "6 h",
    )
    laid(shed, capsys, "--mass", "150 g", "--ago", "5 h")
    told(shed, capsys, "peel-ply", "--action", "on", "--ago", "4 h")
    told(shed, capsys, "wash", "--action", "both")
    told(shed, capsys, "note", "--text", "dry-fitted")
    told(shed, capsys, "quality", "--check", "coin tap", "--passed", "failed")
    lever = ["--load", "500 g", "--arm", "120", "--passed", "passed"]
    told(shed, capsys, "quality", "--check", "peel coupon", *lever)
    told(shed, capsys, "close", "--outcome", "ready to sand")
    with pytest.raises(SystemExit):
        run(["job", "show", "J1", "--config", str(shed)])
    shown = capsys.readouterr().out
    for words_of_it in (
        "L1: peel ply on, by the owner",
        "L1: wash and abrade, by the owner",
        "note  dry-fitted, by the owner",
        "L1: coin tap failed, by the owner",
        "L1: peel coupon passed, 0.5884 N m (500 g on 120 mm), by the owner",
    ):
        assert words_of_it in shown, words_of_it


def test_an_empty_pot_is_told_once_and_every_reader_of_layups_sees_it(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of the one that is named, or of the only open pot; of two none is guessed. The daemon wakes for it."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    for ago in ("40 min", "20 min"):
        laid(shed, capsys, "--mass", "200 g", "--resin", "epoxy-slow", "--ago", ago)
    assert "open pots of L1, L2. Use --layer L1 or --layer L2" in rejected(shed, capsys, "pot-empty")
    earlier = told(shed, capsys, "pot-empty", "--ago", "30 min")
    assert earlier["payload"]["layer"] == "L1"  # L2 was not mixed yet
    told(shed, capsys, "withdraw", str(earlier["number"]), "--reason", "a slip")
    said = told(shed, capsys, "pot-empty", "--layer", "L1")
    assert (said["kind"], said["payload"]["layer"]) == ("pot-empty", "L1")
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        now = SystemClock().now().utc
        emptied = {each.layer: each.pot_emptied for each in layer_log.running(logbook, now)}
    assert emptied["L2"] is None
    assert emptied["L1"] == pytest.approx(now, abs=60)
    assert "pot-empty" in external_entries.KINDS
    told(shed, capsys, "pot-empty")
    with Logbook(shed.parent / "shed.sqlite", read_only=True) as logbook:
        assert all(each.pot_emptied for each in layer_log.running(logbook, SystemClock().now().utc))


@pytest.mark.long
def test_a_closed_job_takes_nothing_until_it_is_opened_again(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Note, batch, layer, correction and a second close: each refused with the way out; then taken."""
    told(shed, capsys, "open", "--ago", "6 d", "--title", "new rudder cheek")
    note = told(shed, capsys, "note", "--text", "dry")["number"]
    told(shed, capsys, "close")
    tries = [
        ["job", "note", "--text", "late", "--job", "J1"],
        ["job", "batch", "--resin-mass", "200", "--hardener-mass", "44", "--job", "J1"],
        ["job", "peel-ply", "--action", "on", "--job", "J1"],
        ["job", "correct", str(note), "--set", "text=damp", "--reason", "misread", "--job", "J1"],
        ["layer", "--mass", "100", "--job", "J1"],
    ]
    for typed in tries:
        with pytest.raises(SystemExit) as end:
            run([*typed, "--config", str(shed)])
        assert end.value.code == 2
        said = capsys.readouterr().err
        assert "found it closed. Use `curewatch job reopen --job J1` first" in said
    again = told(shed, capsys, "reopen", "--job", "J1", "--reason", "a second coat")
    assert again["kind"] == "job-reopen"
    told(shed, capsys, "note", "--text", "late")
    assert told(shed, capsys, "show")["closed"] is None
    assert told(shed, capsys, "close")["kind"] == "job-close"


def test_times_that_contradict_each_other_are_asked_back(
    shed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before the job, before the batch, before the layer: refused with both times, kept with --force."""
    told(shed, capsys, "open", "--ago", "3 h", "--title", "new rudder cheek")
    weighed = ["batch", "--resin-mass", "200", "--hardener-mass", "44"]
    told(shed, capsys, *weighed, "--ago", "2 h")
    run_layer = ["layer", "--batch", "B1"]
    refused = [
        (["job", *weighed, "--ago", "4 h"], "is before job J1 was opened"),
        ([*run_layer, "--ago", "150 min"], "is before B1 was mixed"),
    ]
    for typed, said in refused:
        with pytest.raises(SystemExit) as end:
            run([*typed, "--config", str(shed)])
        assert (end.value.code, said in capsys.readouterr().err) == (2, True)
    with contextlib.suppress(SystemExit):
        run([*run_layer, "--ago", "2 h", "--config", str(shed)])
    capsys.readouterr()
    with pytest.raises(SystemExit):
        run(["job", "wash", "--action", "wash", "--ago", "170 min", "--layer", "L1", "--config", str(shed)])
    assert "L1" in capsys.readouterr().err
    told(shed, capsys, *weighed, "--ago", "4 h", "--force")
    assert [entry["kind"] for entry in told(shed, capsys, "show")["entries"]].count("batch") == 2


def test_a_rule_set_that_is_none_is_refused(shed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A record would judge by another one without a word; the control: known names, as people write them."""
    said = rejected(shed, capsys, "open", "--title", "mast step", "--rules", "coating, classd-workshop")
    assert "--rules: found 'classd-workshop'. Use coating, datasheet, classed-workshop, own" in said
    opened = told(shed, capsys, "open", "--title", "mast step", "--rules", "Coating, classed workshop, own")
    assert "coating" in json.dumps(opened)
    with Logbook(shed.parent / "shed.sqlite") as logbook:
        (entry,) = logbook.entries(EntryKind.JOB_OPEN)
    assert entry.payload["rules"] == ["coating", "classed-workshop", "own"]
