"""Lines made for eighty columns stay whole words on a terminal that is narrower."""

import pytest

from curewatch.cli.folding import folded

TABLE = "  ok    surface above dew point, until set       6.9 K  >= 3.0 K      +3.2 K   b"
PARAGRAPH = (
    "  a  common practice: epoxy-fast: lowest working temperature that sheets of its",
    "     kind state",
)


def words(lines: list[str]) -> list[str]:
    return " ".join(lines).split()


@pytest.mark.parametrize("width", [20, 32, 40, 64, 79])
def test_no_word_is_parted_and_none_is_lost(width: int) -> None:
    """Every line fits; the words are those of the answer in their order."""
    lines = [
        TABLE,
        "",
        *PARAGRAPH,
        "Cautions",
        "  Wash blush off with water before you sand: sanding rubs it in.",
    ]
    shown = folded(lines, width)
    assert max(map(len, shown)) <= width
    assert words(shown) == words(lines)


def test_a_table_is_folded_between_its_columns() -> None:
    """A value stays with its unit; what goes on stands further in."""
    assert folded([TABLE], 40) == [
        "  ok  surface above dew point, until set",
        "    6.9 K  >= 3.0 K  +3.2 K  b",
    ]


def test_a_paragraph_is_put_together_before_it_is_folded() -> None:
    """No line of one word where the wider screen had ended its line."""
    assert folded(PARAGRAPH, 40) == [
        "  a  common practice: epoxy-fast: lowest",
        "    working temperature that sheets of",
        "    its kind state",
    ]


def test_two_short_lines_stay_two() -> None:
    """Only a line that was full goes on in the next."""
    lines = ["first", "  second"]
    assert folded(lines, 20) == lines


@pytest.mark.parametrize("width", [80, 120, 200])
def test_a_wider_terminal_shows_the_same(width: int) -> None:
    """Eighty columns is what an eye follows."""
    assert folded([TABLE, *PARAGRAPH], width) == [TABLE, *PARAGRAPH]


def test_one_long_word_is_left_alone() -> None:
    """A path is never cut: it must be copied as a whole."""
    path = "/home/somebody/a/very/long/way/to/the/logbook.sqlite"
    assert (
        folded([f"  {path}: 723 readings, chain unbroken, kept on the disk of the house here"], 30)[0].strip()
        == f"{path}:"
    )
