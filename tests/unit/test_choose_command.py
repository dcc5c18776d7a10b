"""`curewatch choose` and `curewatch tabs` as a person types them: ten lines, a status, one line a mistake."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from curewatch.cli.main import run
from curewatch.logbook import EntryKind
from curewatch.record.page_work import _sentence
from curewatch.record.words import RecordWords
from curewatch.wording import plain_wording

Typed = Callable[..., tuple[int, str, str]]
SHED = """
[logbook]
path = "log.sqlite"
[resin]
name = "epoxy-slow"
also = ["polyester-laminating", "epoxy-laminating"]
price = { epoxy-slow = 25.0, polyester-laminating = 6.0, epoxy-laminating = 30.0 }
currency = "EUR"
"""
# what a stranger with four repairs types, the resin a good yard would use, words of its reason and caution
REPAIRS = {
    "coach-roof edge": (
        '--on polyester --thickness "6 mm" --room "20 mm"',
        "epoxy-slow",
        ("3.3 to 1", "backing or doubler", "72 mm of taper: polyester"),
    ),
    "plywood floor": (
        "--on bare-timber --on polyester --thickness 4mm --structural yes",
        "polyester-laminating",
        ("timber primer", "isocyanates", "surveyor"),
    ),
    "dark hatch": (
        "--on polyester --thickness 4mm --place sun --colour dark",
        "polyester-laminating",
        ("costs less", "surveyor"),
    ),
    "joint under water": (
        "--on bare-timber --thickness 3mm --place under-water --shape strip --length 400mm --width 50mm",
        "epoxy-slow",
        ("water works its way", "EUR by your price", "above water: polyester"),
    ),
}


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Typed:
    """A command typed in a shed with three resins; its status, what it said and what it complained of."""
    import shlex

    (tmp_path / "curewatch.toml").write_text(SHED)
    monkeypatch.setenv("CUREWATCH_CONFIG", str(tmp_path / "curewatch.toml"))
    monkeypatch.setenv("LC_ALL", "C")

    def type_it(line: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            run(shlex.split(line))
        said = capsys.readouterr()
        return int(end.value.code or 0), said.out, said.err

    return type_it


@pytest.mark.parametrize("repair", REPAIRS)
def test_four_repairs_get_what_a_good_yard_would_say(repair: str, typed: Typed) -> None:
    """The resin first, its reason, its caution; ten lines of 80 columns at most."""
    options, resin, words = REPAIRS[repair]
    status, said, _ = typed(f"choose {options}")
    assert status == 0
    assert said.startswith(f"USE {resin}")
    flat = " ".join(said.split())
    assert all(word in flat for word in words), said
    assert len(said.splitlines()) <= 10
    assert max(map(len, said.splitlines())) <= 80


def test_why_gives_every_resin_against_every_demand(typed: Typed) -> None:
    """Each with its origin; and the same in JSON."""
    options = "--on bare-timber --thickness 3mm --place under-water"
    _, said, _ = typed(f"choose {options} --why")
    assert "polyester-laminating: does not serve" in said
    assert "(usual)" in said
    _, told, _ = typed(f"choose {options} --json")
    answer = json.loads(told)
    demands = [row["demand"] for each in answer["candidates"] for row in each["demands"]]
    assert demands == ["bond-bare-timber", "water"] * 3
    assert answer["resin"] == "epoxy-slow"


def test_nothing_on_the_shelf_is_no_go_and_says_what_would_serve(typed: Typed) -> None:
    """With the reason, and the generic resins that would."""
    line = "choose --on polyester --thickness 4mm --place sun --colour dark --shelf epoxy-slow"
    status, said, _ = typed(line)
    assert status == 3
    assert said.startswith("NONE on the shelf serves. Would serve: epoxy-laminating")
    assert "soften" in said


@pytest.mark.long
def test_own_tabs_decide_where_the_joint_is_structural(typed: Typed) -> None:
    """Six tabs, laid out, broken in their order and told; then epoxy is chosen, and why is said."""
    floor = "choose --on bare-timber --thickness 4mm --structural yes"
    assert typed(floor)[1].startswith("USE polyester-laminating")
    typed('job open --title "new floor"')
    _, told, _ = typed('tabs lay epoxy-slow "polyester-laminating on primer" --lot "demo lot 7" --json')
    loads = {
        "epoxy-slow": iter((20.0, 22.0, 19.0)),
        "polyester-laminating on primer": iter((10.0, 11.0, 9.5)),
    }
    for tab in json.loads(told)["tabs"]:
        status, said, _ = typed(f'tabs broke "{next(loads[tab["way"]])} kg" --in face')
        assert status == 0
    assert "epoxy-slow held about twice as much" in " ".join(said.split())
    assert "All tabs are broken" in typed("tabs show")[1]
    said = typed(floor)[1]
    assert said.startswith("USE epoxy-slow")
    assert "your own tabs held 2.0 times as much with epoxy-slow" in " ".join(said.split())
    assert typed("choose --on bare-timber --thickness 4mm")[1].startswith("USE polyester-laminating")
    why = " ".join(typed(f"{floor} --why")[1].split())
    assert re.search(r"own test: T1, 20\d\d-\d\d-\d\d, lot demo lot 7: In peel", why)
    shown = " ".join(typed("job show")[1].split())
    assert "bond test tab 6" in shown
    assert "6 tabs make this sure" in shown


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("choose --on wood --thickness 4mm", "Use bare-timber"),
        ("choose --on bare-timber --thickness thick", "no length"),
        ("choose --on bare-timber --thickness 0mm", "found '0mm'"),
        ("choose --on bare-timber,primed-timber --thickness 4mm", "bare and primed"),
        ("choose --on bare-timber --thickness 4mm --shelf birch", "birch"),
        ("choose --on bare-timber --thickness 4mm --load-after soon", "span of time"),
        ("choose --on bare-timber --thickness 4mm --price epoxy-slow", "Use a resin and its price"),
        ('choose --on bare-timber --thickness 4mm --price "epoxy-slow 0"', "Use a resin and its price"),
        ("tabs show", "found none"),
        ("tabs lay one one", "two different"),
        ("tabs lay one two --each 2", "found 2"),
        ("tabs lay one two --pull twist", "Use peel, shear"),
    ],
)
def test_a_mistake_is_one_line_and_nothing_is_written(
    line: str, said: str, typed: Typed, tmp_path: Path
) -> None:
    """What was found, what to use; status 2."""
    status, out, complaint = typed(line)
    assert (status, out) == (2, "")
    assert said in complaint
    assert complaint.count("\n") == 1
    assert "Traceback" not in complaint


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("tabs broke heavy --in face", "found 'heavy'"),
        ("tabs broke 0 --in face", "above 0"),
        ("tabs broke 5 --in air", "Use face, laminate, timber"),
        ("tabs broke 5 --in face --tab 9", "Use 1 to 6"),
        ("tabs broke 5 --in face --test T7", "Use T1"),
    ],
)
def test_a_slip_in_a_tab_is_refused(line: str, said: str, typed: Typed) -> None:
    """And a load in another unit than those before, too."""
    typed("tabs lay one two")
    assert typed(line)[0] == 2
    assert said in typed(line)[2]
    assert typed("tabs broke '5 kg' --in face")[0] == 0
    assert "Use kg" in typed("tabs broke '50 N' --in face")[2]


def test_layup_takes_the_room_and_says_the_same(typed: Typed) -> None:
    """The scarf that fits is planned; what is lost, what is usual then and whose matter it is are said."""
    _, said, _ = typed('layup strip --length "400 mm" --width 0 --thickness 6 --room "20 mm" --room "90 mm"')
    flat = " ".join(said.split())
    assert "The room allows 3.3 to 1: 71 % of the bonding area of 12 to 1 is missing." in flat
    assert "a backing or doubler" in flat
    assert "a surveyor decides first" in flat
    _, told, _ = typed("layup strip --length 400 --thickness 6 --room 20 --json")
    answer = json.loads(told)
    assert answer["scarf_mm"] == 20.0
    assert answer["scarf_ratio"] == pytest.approx(3.333, abs=1e-3)
    _, told, _ = typed("layup strip --length 400 --thickness 6 --room 20 --sides 2 --json")
    assert json.loads(told)["scarf_ratio"] == pytest.approx(6.667, abs=1e-3)
    _, told, _ = typed("layup strip --length 400 --thickness 6 --room 80 --json")
    assert (json.loads(told)["scarf_ratio"], json.loads(told)["short_scarf"]) == (12.0, "")
    assert "found 3 mm. Use 6 mm or more" in typed("layup strip --length 400 --thickness 6 --room 3")[2]


def test_the_record_says_what_the_tabs_showed() -> None:
    """Each tab in one sentence; with the last one what the test showed."""
    words = RecordWords(plain_wording())
    tab = {"test": "T1", "tab": 6, "way": "epoxy-slow", "load": 12.5, "unit": "kg", "broke": "face"}
    said = _sentence(EntryKind.TAB, tab | {"text": "In peel, 6 tabs did not tell them apart."}, words)
    assert said.startswith("Bond test T1, tab 6, epoxy-slow: broke at 12.5 kg in the face. In peel, 6 tabs")
    test = {"test": "T1", "pull": "peel", "face": "bare-timber", "order": ["a", "b"], "lot": "7"}
    assert "peel on bare-timber, 2 tabs, lots 7" in _sentence(EntryKind.TAB_TEST, test, words)
    primer = {"primer": "P1", "part": "cheek", "product": "demo primer", "tacky_after": 1200.0}
    assert "Timber primer P1, demo primer, cheek; tacky after 20 min" in _sentence(
        EntryKind.PRIMER, primer, words
    )


def test_a_configured_price_of_no_resin_is_refused(typed: Typed, tmp_path: Path) -> None:
    """A slip in the file would leave that resin without its price; with the right name it is taken."""
    file = tmp_path / "curewatch.toml"
    file.write_text(SHED.replace("price = { epoxy-slow", "price = { epoxy-slwo"))
    status, _, said = typed("choose --on bare-timber --thickness 4mm")
    assert (status, "key resin.price.epoxy-slwo: found 'epoxy-slwo'" in said) == (78, True)
    file.write_text(SHED)
    assert typed("choose --on bare-timber --thickness 4mm")[0] == 0


@pytest.mark.parametrize("price", ["epoxy-slow 3,50", "epoxy-slow=3.50", "epoxy-slow 3.50 EUR"])
def test_a_price_is_taken_as_people_type_it(price: str, typed: Typed) -> None:
    """With a comma, a sign or a currency; it goes before that of the configuration."""
    repair = "choose --on polyester --thickness 6mm --length 120mm"
    assert typed(repair)[1].startswith("USE polyester-laminating")
    said = typed(f'{repair} --price "{price}" --price "polyester-laminating 40"')[1]
    assert said.startswith("USE epoxy-slow")
    assert "by your price" in said
