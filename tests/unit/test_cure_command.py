"""``curewatch cure`` and ``curewatch resin`` answer, in 80 columns and as JSON, and refuse rubbish kindly."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from curewatch.cli.main import run
from curewatch.clock import SystemClock
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.milestones import milestones
from curewatch.model.mass.pot import pot
from curewatch.readings import Reading
from curewatch.units import HOUR


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        run(list(words))
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out, said.err


@pytest.fixture(autouse=True)
def nobody_at_home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No configuration and no logbook of the machine that runs the tests."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("CUREWATCH_CONFIG", raising=False)
    monkeypatch.setenv("LC_ALL", "C")


def test_json_has_the_film_and_its_bands(capsys: pytest.CaptureFixture[str]) -> None:
    """The likely gel time is the film integrator's; early and late lie around it; curves rise."""
    status, out, _ = answer(
        capsys, "cure", "--resin", "epoxy-slow", "--temperature", "12", "--hours", "48", "--json"
    )
    said = json.loads(out)
    resin = load_resin("epoxy-slow")
    gel = milestones(resin, cure(resin, constant(285.15, 48 * HOUR))).gel
    assert status == 0
    found = said["milestones_s"]["gel"]
    assert found["likely"] == pytest.approx(gel, abs=0.1)
    assert found["early"] < found["likely"] < found["late"]
    for name in ("early", "likely", "late"):
        curve = said["conversion"][name]
        assert curve == sorted(curve)
        assert len(curve) == len(said["time_s"])
    assert all(
        low <= high for low, high in zip(said["conversion"]["early"], said["conversion"]["late"], strict=True)
    )


@pytest.mark.long
def test_text_fits_eighty_columns_and_answers_first(capsys: pytest.CaptureFixture[str]) -> None:
    """Every line within 80 columns; the first line is the answer."""
    for words in (
        ("cure", "--resin", "epoxy-laminating", "--temperature", "-3", "--hours", "900"),
        ("cure", "--resin", "polyester-topcoat", "--temperature", "64F", "--hours", "0.5", "--units", "F"),
        (
            "cure",
            "--resin",
            "epoxy-fast",
            "--temperature",
            "18",
            "--mass",
            "2kg",
            "--thickness",
            "8",
            "--on",
            "old-laminate",
        ),
        (
            "cure",
            "--resin",
            "polyester-topcoat",
            "--temperature",
            "18",
            "--mass",
            "9kg",
            "--shape",
            "roller-tray",
        ),
        ("resin", "list"),
        ("resin", "show", "vinyl-ester"),
        ("resin", "compare", "--temperature", "8", "--humidity", "85"),
    ):
        status, out, _ = answer(capsys, *words)
        assert status == 0, words
        assert [line for line in out.splitlines() if len(line) > 80] == [], words
        assert out.splitlines()[0].strip(), words
        assert "\x1b" not in out


HISTORY = "time,temperature_c\n2026-11-25T18:00:00Z,14\n2026-11-25T20:00:00Z,11\n2026-11-26T06:00:00Z,7\n"


@pytest.mark.parametrize(
    "text",
    [
        HISTORY,
        "time_h,temperature_k\n0,287.15\n2,284.15\n12,280.15\n",
        "# demo\n0,14\n7200,11\n43200,7\n",
        "humidity,time_min,temperature_f\n80,5,57.2\n85,125,51.8\n90,725,44.6\n",
    ],
)
def test_a_history_may_be_written_in_several_ways(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str
) -> None:
    """Stamps or seconds, minutes or hours, degC, degF or K: the same film."""
    path = tmp_path / "shed.csv"
    path.write_text(text, "utf-8")
    status, out, _ = answer(capsys, "cure", "--resin", "epoxy-fast", "--history", str(path), "--json")
    said = json.loads(out)
    assert status == 0
    assert said["temperature_c"][0] == pytest.approx(14.0)
    assert said["temperature_c"][-1] == pytest.approx(7.0)
    same = History(np.array([0.0, 2 * HOUR, 12 * HOUR]), np.array([287.15, 284.15, 280.15]))
    resin = load_resin("epoxy-fast")
    gel = milestones(resin, cure(resin, same)).gel
    assert said["milestones_s"]["gel"]["likely"] == pytest.approx(gel, abs=0.1)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no rows"),
        ("time,temperature\n0,14\n", "two or more"),
        ("time,temperature\n0,14\n0,15\n", "line 3: found a time not later"),
        ("time,temperature\n0,14\n60,hot\n", "line 3: found 'hot'"),
        ("time,temperature\n0,14\n60,nan\n", "line 3: found 'nan'"),
        ("time,temperature\n0,14\n60,287\n", "is the unit right?"),
        ("time,temperature\n0,14\n60\n", "line 3: found 1 column"),
        ("when,warmth\n0,14\n60,15\n", "Use one of time"),
    ],
)
def test_a_wrong_history_is_refused_by_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, says: str
) -> None:
    """The message names the file and the line and what was wanted."""
    path = tmp_path / "shed.csv"
    path.write_text(text, "utf-8")
    status, out, err = answer(capsys, "cure", "--history", str(path))
    assert (status, out) == (2, "")
    assert says in err
    assert "shed.csv" in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("cure",), "one of the two"),
        (("cure", "--temperature", "12", "--history", "x.csv"), "one of the two"),
        (("cure", "--temperature", "warm"), "no temperature"),
        (("cure", "--temperature", "12", "--hours", "0"), "0.1 to 1440"),
        (("cure", "--temperature", "12", "--hours", "nan"), "0.1 to 1440"),
        (("cure", "--temperature", "12", "--resin", "epoxy"), "Known:"),
        (
            ("cure", "--temperature", "12", "--resin", "polyester-laminating", "--peroxide", "0.2"),
            "too little",
        ),
        (("cure", "--temperature", "12", "--resin", "polyester-laminating", "--peroxide", "6"), "too much"),
        (("cure", "--temperature", "12", "--resin", "epoxy-slow", "--peroxide", "2"), "keeps its mix ratio"),
        (("cure", "--temperature", "12", "--resin", "vinyl-ester", "--cobalt", "0.5"), "too much"),
        (("cure", "--temperature", "12", "--resin", "vinyl-ester", "--cobalt", "0.001"), "too little"),
        (("cure", "--temperature", "12", "--chart", "picture.pdf"), ".svg or .png"),
        (("cure", "--temperature", "12", "--mass", "0"), "no mass"),
        (("cure", "--temperature", "12", "--mass", "90kg"), "1 g to 20 kg"),
        (("cure", "--temperature", "12", "--mass", "10g", "--shape", "bucket"), "roller-tray"),
        (("cure", "--temperature", "12", "--thickness", "900"), "0.1 to 50 mm"),
        (("resin", "show", "nothing"), "Known:"),
        (("resin", "compare", "--temperature", "8"), "both"),
        (("resin", "compare", "--temperature", "8", "--humidity", "0.8"), "give 80"),
    ],
)
def test_rubbish_is_refused_with_what_is_allowed(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...], says: str
) -> None:
    """Exit status 2, nothing on stdout, one line on stderr, no traceback."""
    status, out, err = answer(capsys, *words)
    assert (status, out) == (2, "")
    assert says in err
    assert "Traceback" not in err


def test_hours_nobody_measured_are_not_made_up(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Asking for more hours than the history holds is refused; fewer are cut."""
    path = tmp_path / "shed.csv"
    path.write_text(HISTORY, "utf-8")
    status, _, err = answer(capsys, "cure", "--history", str(path), "--hours", "20")
    assert status == 2
    assert "Use at most 12 h" in err
    status, out, _ = answer(capsys, "cure", "--history", str(path), "--hours", "3", "--json")
    assert status == 0
    assert json.loads(out)["time_s"][-1] == pytest.approx(3 * HOUR)


@pytest.mark.parametrize(
    ("ending", "head"), [("svg", b"<?xml"), pytest.param("png", b"\x89PNG", marks=pytest.mark.long)]
)
@pytest.mark.long
def test_a_chart_is_a_picture_and_the_same_every_time(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str, head: bytes
) -> None:
    """SVG and PNG are written; the same film gives the same bytes."""
    pictures = []
    for name in ("one", "two"):
        path = tmp_path / f"{name}.{ending}"
        status, _, _ = answer(capsys, "cure", "--temperature", "12", "--hours", "12", "--chart", str(path))
        assert status == 0
        pictures.append(path.read_bytes())
    assert pictures[0].startswith(head)
    assert pictures[0] == pictures[1]


@pytest.mark.long
def test_a_batch_and_a_laminate_are_told_with_their_heat(capsys: pytest.CaptureFixture[str]) -> None:
    """A full cup kicks long before the film gels, and may smoke; a laminate takes so many layers at once."""
    words = ("cure", "--resin", "epoxy-fast", "--temperature", "20", "--hours", "24", "--mass", "350 g")
    _, out, _ = answer(capsys, *words, "--thickness", "6", "--on", "foam", "--json")
    said = json.loads(out)
    pot_life = said["pot"]["pot_life_s"]
    assert pot_life["early"] < pot_life["likely"] < pot_life["late"] < said["milestones_s"]["gel"]["likely"]
    assert said["pot"]["may_overheat"]
    assert said["laminate"]["peak_temperature_c"] > 20.0
    assert 1 <= said["laminate"]["layers_in_one_go"] <= 12
    assert said["recoat_window"]["opens_s"] < said["recoat_window"]["closes_s"]


def test_the_heat_of_a_slow_batch_in_the_cold_is_told_though_it_comes_late(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """150 g of epoxy-slow at 5 degC kick after 7.5 h, and get hot; in six hours they warm by 11 K."""
    words = ("cure", "--resin", "epoxy-slow", "--temperature", "5", "--hours", "24", "--mass", "150 g")
    said = json.loads(answer(capsys, *words, "--json")[1])["pot"]
    six = pot(load_resin("epoxy-slow"), 0.15, 278.15, duration=6 * HOUR)
    assert 6.5 * HOUR < said["pot_life_s"]["likely"] < 9.0 * HOUR
    assert said["peak_temperature_c"] > 60.0
    assert np.isnan(six.pot_life)
    assert six.peak_temperature < 278.15 + 15.0


def test_show_gives_an_origin_for_every_number(capsys: pytest.CaptureFixture[str]) -> None:
    """Each value has a tag and a source."""
    _, out, _ = answer(capsys, "resin", "show", "epoxy-low-blush", "--json")
    said = json.loads(out)
    assert len(said["values"]) > 30
    assert all(entry["tag"] and entry["source"] and entry["unit"] for entry in said["values"])


def test_compare_puts_the_fast_one_first_to_gel_and_the_cold_one_in_doubt(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Side by side at 8 degC and 85 %: orderings a person would expect, bands in order."""
    _, out, _ = answer(capsys, "resin", "compare", "--temperature", "8", "--humidity", "85", "--json")
    rows = {row["name"]: row for row in json.loads(out)["resins"]}
    assert rows["epoxy-fast"]["gel_s"]["likely"] < rows["epoxy-slow"]["gel_s"]["likely"]
    assert "dew point" in rows["epoxy-slow"]["do_not"]
    assert rows["polyester-laminating"]["blush"] == "none"
    assert rows["epoxy-slow"]["blush"] != "none"
    for row in rows.values():
        assert row["gel_s"]["early"] < row["gel_s"]["likely"] < row["gel_s"]["late"]


@pytest.mark.long
def test_compare_tells_of_wax_and_of_faces_that_stay_tacky(capsys: pytest.CaptureFixture[str]) -> None:
    """A waxed resin has no window but abrading; one without wax is named with its tacky face."""
    _, out, _ = answer(capsys, "resin", "compare", "--temperature", "18", "--humidity", "60", "--why")
    row = next(line for line in out.splitlines() if line.startswith("polyester-topcoat"))
    said = " ".join(out.split())
    assert row.split("min")[2].split()[:2] == ["-", "abrade"]
    assert "stays tacky in air: polyester-laminating, vinyl-ester." in said
    assert "abrade before the next layer: polyester-topcoat." in said
    _, alone, _ = answer(capsys, "resin", "compare", "epoxy-slow", "--temperature", "18", "--humidity", "60")
    assert "tacky" not in alone
    assert "abrade" not in alone


def test_compare_says_how_far_the_lots_of_the_least_sure_lie_apart(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An archetype lies within a third; a resin fitted to one word much further, and is named."""
    asked = ("--temperature", "12", "--humidity", "60", "--why")
    _, sure, _ = answer(capsys, "resin", "compare", "epoxy-slow", *asked)
    assert 1.2 < float(" ".join(sure.split()).split("up to ")[1].split()[0]) < 1.6
    (tmp_path / "wild.toml").write_text(
        'name = "wild"\ntitle = "Demo mix"\nnote = "demo"\nbased_on = "epoxy-slow"\n[uncertainty]\n'
        'rate_sd = { value = 0.6, unit = "1", tag = "assumed", source = "demo" }\n',
        "utf-8",
    )
    _, wide, _ = answer(capsys, "resin", "compare", str(tmp_path / "wild.toml"), "epoxy-slow", *asked)
    said = " ".join(wide.split())
    assert "(wild, the least sure" in said
    assert float(said.split("up to ")[1].split()[0]) > 2.0


def test_compare_says_what_the_user_pays(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A price in a file of the user's own stands in the table."""
    (tmp_path / "mine.toml").write_text(
        'name = "mine"\ntitle = "Demo mix"\nnote = "demo"\nbased_on = "epoxy-slow"\n[price]\n'
        'per_kilogram = { value = 21.5, unit = "1/kg", tag = "sheet", source = "demo" }\ncurrency = "EUR"\n',
        "utf-8",
    )
    path = str(tmp_path / "mine.toml")
    _, out, _ = answer(capsys, "resin", "compare", path, "--temperature", "15", "--humidity", "60", "--why")
    assert "21.50 EUR per kg" in out


@pytest.mark.parametrize(("age", "status"), [(20.0, 0), (7200.0, 4)])
def test_compare_takes_the_shed_as_measured_only_while_it_is_fresh(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    age: float,
    status: int,
) -> None:
    """Fresh readings are used, with the surface of its own; old ones are unknown."""
    file = tmp_path / "curewatch.toml"
    file.write_text(
        '[logbook]\npath = "logbook.sqlite"\n'
        '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\n'
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - age
    stamps = [now - 60.0 * minutes for minutes in range(30, -1, -1)]
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            [Reading("bench", at, at, 285.15 + 0.01 * (number % 5), 0.7) for number, at in enumerate(stamps)]
            + [Reading("hull", at, at, 283.15 + 0.01 * (number % 4)) for number, at in enumerate(stamps)]
        )
    left, out, err = answer(capsys, "resin", "compare", "epoxy-fast", "--json")
    assert left == status, err
    if status == 0:
        assert json.loads(out)["conditions"]["surface_temperature_c"] == pytest.approx(10.0, abs=0.1)
    else:
        assert "unknown" in err
        assert out == ""


def test_compare_without_a_shed_is_unknown(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing recorded: exit status 4 and what to do, never a made-up shed."""
    status, out, err = answer(capsys, "resin", "compare")
    assert (status, out) == (4, "")
    assert "give --temperature and --humidity" in err


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("--temperature 12 --humidity 90 --surface 9", "do not: the hull is wet"),
        ("--temperature 12 --humidity 95", "do not: the hull is too near the dew point"),
        ("--temperature 3 --humidity 50", "do not: below its lowest temperature"),
        ("--temperature 20 --humidity 50", ""),
    ],
)
def test_compare_shows_no_time_of_a_resin_that_must_not_be_laid(
    capsys: pytest.CaptureFixture[str], typed: str, reason: str
) -> None:
    """Its row says "do not" and why; in JSON the reason stands before the times."""
    _, shown, _ = answer(capsys, "resin", "compare", "epoxy-slow", *typed.split())
    (row,) = (line for line in shown.splitlines() if line.startswith("epoxy-slow  "))
    assert row.split(maxsplit=1)[1] == reason if reason else " h" in row
    _, out, _ = answer(capsys, "resin", "compare", "epoxy-slow", *typed.split(), "--json")
    (said,) = json.loads(out)["resins"]
    assert said["do_not"] == reason
    assert list(said).index("do_not") < list(said).index("gel_s")


@pytest.mark.long
@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("--temperature 3", "do not: below its lowest temperature"),
        ("--temperature 20 --humidity 95", "do not: the hull is too near the dew point"),
        ("--temperature 20 --humidity 100", "do not: the hull is wet"),
        ("--temperature 20 --humidity 50", ""),
    ],
)
def test_cure_says_do_not_before_any_time(
    capsys: pytest.CaptureFixture[str], typed: str, reason: str
) -> None:
    """The first line of the screen, and a key of the answer."""
    _, shown, _ = answer(capsys, "cure", "--resin", "epoxy-slow", *typed.split())
    assert (shown.splitlines()[0].lower() == f"{reason}.") == bool(reason)
    assert shown.lower().startswith("do not") == bool(reason)
    _, out, _ = answer(capsys, "cure", "--resin", "epoxy-slow", *typed.split(), "--json")
    assert json.loads(out)["do_not"] == reason


@pytest.mark.parametrize(
    ("resin", "celsius"),
    [("epoxy-slow", 150), pytest.param("polyester-laminating", 150, marks=pytest.mark.long)],
)
def test_a_film_that_gels_in_seconds_is_refused_and_no_time_is_nought(
    resin: str, celsius: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """'gels after 0 s' is no answer; at 25 °C the same command forbids nothing."""
    typed = ("cure", "--resin", resin, "--hours", "10", "--temperature")
    status, out, _ = answer(capsys, *typed, str(celsius))
    assert status == 0
    assert out.startswith("Do not: it is too hot to be spread before it gels.\n")
    assert not re.search(r"\b0 s\b", out)
    assert "Do not" not in answer(capsys, *typed, "25")[1]


def test_what_is_fully_cured_is_not_still_curing(capsys: pytest.CaptureFixture[str]) -> None:
    """Under '100 % cured' stood 'still curing at the end'."""
    hot = answer(capsys, "cure", "--resin", "epoxy-slow", "--temperature", "80", "--hours", "48")[1]
    assert "100 % cured" in hot
    assert "Fully cured at the end." in hot
    short = answer(capsys, "cure", "--resin", "epoxy-slow", "--temperature", "25", "--hours", "5")[1]
    assert "Still curing at the end." in short


def test_a_working_time_that_outlasts_the_hours_is_not_unknown(capsys: pytest.CaptureFixture[str]) -> None:
    """Asked for two hours in the cold: it does not end within them. The control: within 48 h it does."""
    _, short, _ = answer(capsys, "cure", "--temperature", "12", "--hours", "2")
    assert re.search(r"working time ends +not within 2 h 00 min\n", short)
    _, whole, _ = answer(capsys, "cure", "--temperature", "12", "--hours", "48")
    assert re.search(r"working time ends +before 3 h", whole)
