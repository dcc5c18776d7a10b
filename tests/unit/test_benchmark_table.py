"""The table of measurements is made by a command, and every benchmark stands in it."""

from tests.benchmarks import __main__ as table


def test_every_benchmark_is_in_the_table_or_said_to_be_apart() -> None:
    """With its load and its date; what was not met says so."""
    text = table.FILE.read_text("utf-8")
    found = table.kept(text)
    assert set(table.names()) == set(found) | set(table.APART)
    assert all(row.count("|") == 5 for rows in found.values() for row in rows)
    assert all(f"`{name}`" in text for name in table.APART)
    assert "cores, Python 3" in text
