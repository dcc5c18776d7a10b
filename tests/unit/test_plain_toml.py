"""TOML from somebody else: a small file takes neither gigabytes nor minutes."""

import subprocess
import sys
import tomllib

import pytest

from curewatch import plain_toml
from tests.broker import PATIENCE

BOMBS = {
    "a dotted key": "a." * 400_000 + "b = 1",
    "a quoted key": '"a b".' * 80_000 + "b = 1",
    "a dotted table": "[" + "a." * 400_000 + "b]",
    "an inline table": "x = {" + "a." * 400_000 + "b = 1}",
    "many dotted lines": ('x = {"a "' + '."b"' * 900 + " = 1}\n") * 250,
    "lists in lists": "x = " + "[" * 400_000,
    "lists in lists over lines": "x = " + "[\n" * 400_000,
    "tables in tables": "x = {" + "a = {\n" * 100_000,
    "too long": "# words\n" * 400_000,
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused(name: str):
    """By its line, as broken TOML."""
    with pytest.raises(tomllib.TOMLDecodeError, match=r"at line \d+"):
        plain_toml.loads(BOMBS[name])


@pytest.mark.parametrize(
    "text", ["a.b.c.d = 1.5", "x = [[1.0, 2.0], [3.0, 4.0]]", 'x = "e.g. this. and that. at 1.2.3.4"']
)
def test_plain_toml_is_read(text: str):
    """As the standard parser reads it."""
    assert plain_toml.loads(text) == tomllib.loads(text)


@pytest.mark.long
def test_no_bomb_takes_300_megabytes():
    """All of them in a process of their own; the standard parser takes more than that for the first."""
    code = (
        "import tomllib\nfrom pathlib import Path\nfrom curewatch import plain_toml\n"
        "from tests.unit.test_plain_toml import BOMBS\n"
        "for text in BOMBS.values():\n"
        "    try: plain_toml.loads(text)\n"
        "    except tomllib.TOMLDecodeError: pass\n"
        "print(Path('/proc/self/status').read_text().partition('VmHWM:')[2].split()[0])"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=PATIENCE
    )
    assert int(said.stdout) < 300_000
