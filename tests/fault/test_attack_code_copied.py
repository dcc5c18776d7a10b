"""Attack: a seal code is copied wrongly, or written so that every record has it; or a square says another.

The check symbols find a slip; program and page of shell name it as one, and never pass it for no code.
"""

import json
import random
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest

from curewatch import square
from curewatch.errors import RecordBroken, UsageError
from curewatch.logbook import Logbook
from curewatch.logbook.seal_code import ALPHABET, read_code
from curewatch.record import examination, paper
from curewatch.record.examination import verify
from curewatch.record.page import Pages
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.record_attacks import Sealed, own_copy, shell_check


def code_of(sealed: Sealed) -> str:
    return verify(sealed.folder).codes[0].replace("-", "")


def at_random(plain: str, seed: int) -> tuple[random.Random, int]:
    chance = random.Random(seed)
    return chance, chance.randrange(len(plain) - 1)


def two_swapped(plain: str) -> str:
    """Two neighbours that differ."""
    at = next(n for n in range(27) if plain[n] != plain[n + 1])
    return plain[:at] + plain[at + 1] + plain[at] + plain[at + 2 :]


def one_looks_alike(plain: str) -> str:
    """8 for B, 5 for S, 2 for Z, 6 for G, V for Y, or any other."""
    alike = {
        "8": "B",
        "B": "8",
        "5": "S",
        "S": "5",
        "2": "Z",
        "Z": "2",
        "6": "G",
        "G": "6",
        "Y": "V",
        "V": "Y",
    }
    at = next((n for n in range(26) if plain[n] in alike), 0)
    return plain[:at] + alike.get(plain[at], "7" if plain[at] != "7" else "1") + plain[at + 1 :]


def another_check_symbol(plain: str) -> str:
    return plain[:-1] + ("0" if plain[-1] != "0" else "1")


def one_missing(plain: str) -> str:
    return plain[1:]


def one_twice(plain: str) -> str:
    return plain[0] + plain


def a_letter_that_is_none(plain: str) -> str:
    return "U" + plain[1:]


def letters_of_another_script(plain: str) -> str:
    return "\u0410" + plain[1:]


def any_letters(plain: str) -> str:
    """Twenty-eight dots: to a tool that looks for patterns, any code at all."""
    return "." * 28


def a_pattern(plain: str) -> str:
    return ".*"


def nothing(plain: str) -> str:
    return ""


def hyphens(plain: str) -> str:
    return "-- --"


def two_lines(plain: str) -> str:
    return f"{plain}\n{plain}"


def digits_and_one_less(plain: str) -> str:
    return "0" * 63


SLIPS = [
    *(two_swapped, one_looks_alike, another_check_symbol, one_missing, one_twice, a_letter_that_is_none),
    *(letters_of_another_script, any_letters, a_pattern, nothing, hyphens, two_lines, digits_and_one_less),
]


@pytest.mark.long
@pytest.mark.parametrize("slip", SLIPS)
@pytest.mark.few(3)
def test_a_slip_is_said_to_be_one(sealed: Sealed, few_tools: str, slip):
    """By both, status 2: it is not that the record does not hold."""
    told = slip(code_of(sealed))
    with pytest.raises(UsageError, match="seal code"):
        verify(sealed.folder, code=told)
    for path in (None, few_tools):
        said = shell_check(sealed.folder, path=path, code=told or " ")
        assert (said.returncode, "seal code" in said.stdout) == (2, True), said.stdout


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.few(1)
def test_as_a_person_writes_it_is_the_same_code(sealed: Sealed, few_tools: str, seed: int):
    """Small letters, O for 0, l and I for 1, blanks and dashes anywhere."""
    chance, _ = at_random(code_of(sealed), seed)
    written = "".join(
        chance.choice({"0": "0Oo", "1": "1IiLl"}.get(one, one + one.lower()))
        + chance.choice(["", "", "-", " "])
        for one in code_of(sealed)
    ).replace("-", chance.choice(["-", "\u2013"]))
    assert verify(sealed.folder, code=written)
    for path in (None, few_tools):
        assert shell_check(sealed.folder, written, path=path).returncode == 0


def test_every_slip_of_one_letter_or_two_neighbours_shows(sealed: Sealed):
    """All 28 x 31 and all 27."""
    plain = code_of(sealed)
    wrong = [plain[:n] + one + plain[n + 1 :] for n in range(28) for one in ALPHABET if one != plain[n]]
    wrong += [
        plain[:n] + plain[n + 1] + plain[n] + plain[n + 2 :] for n in range(27) if plain[n] != plain[n + 1]
    ]
    for one in wrong:
        with pytest.raises(UsageError, match="slip"):
            read_code(one)


@pytest.mark.long
def test_any_letters_hold_where_the_form_of_a_code_is_not_looked_at(sealed: Sealed, tmp_path: Path):
    """The control: a pattern is then every code."""
    folder = Path(shutil.copytree(sealed.folder, tmp_path / "copy"))
    text = (folder / "check.sh").read_text()
    line = next(one for one in text.splitlines() if "has a slip in it" in one)
    (tmp_path / "blind.sh").write_text(
        text.replace(line, line.replace("|| cannot", "|| :")).replace(
            'broken "check.sh of this record', ': "check.sh of this record'
        )
    )
    assert shell_check(folder, "." * 28).returncode == 2
    assert shell_check(folder, "." * 28, script=tmp_path / "blind.sh").returncode == 0


@pytest.mark.long
@pytest.mark.parametrize("kind", ["record.pdf", "record.html", "the code in letters"])
@pytest.mark.few(1)
def test_a_square_that_says_another_seal_is_found(
    sealed: Sealed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
):
    """Laid out and signed by the owner. The control: where pages are not compared it holds."""
    genuine, letters = square.svg, paper._plain

    def in_other_letters(pages: Pages, files: Mapping[str, bytes]) -> object:
        text = json.dumps(letters(pages, files))
        assert pages.code in text
        return json.loads(text.replace(pages.code, "0000-" * 6 + "0000"))

    with monkeypatch.context() as bent, Logbook(own_copy(sealed, tmp_path)) as logbook:
        if kind == "the code in letters":
            bent.setattr(paper, "_plain", in_other_letters)
        else:
            bent.setattr(square, "svg", lambda digest: genuine("0" * 64))
        folder = write(logbook, world.JOB, tmp_path / "out", at=world.OPENED + 5 * DAY).folder
    assert folder is not None
    (folder / ("record.pdf" if kind == "record.html" else "record.html")).rename(tmp_path / "apart")
    if kind != "record.html":
        with pytest.raises(RecordBroken, match="other pages"):
            verify(folder)
        monkeypatch.setattr(paper, "laid_out", lambda pages, files, _: paper.unsigned(pdf)[0])
        pdf = (folder / "record.pdf").read_bytes()
    else:
        with pytest.raises(RecordBroken, match="other pages"):
            verify(folder)
        page = (folder / "record.html").read_text()
        monkeypatch.setattr(examination.screen, "html", lambda _: page)
    assert verify(folder)
