"""Attack: a record that one of the two checks takes and the other does not.

The owner writes the chain himself, before any code was given away. Whatever he bends, program and page of
shell must say the same; else he shows the one that holds. What only the program can say is in
``test_attack_pages_not_borne``: check.sh reckons nothing.
"""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from curewatch.errors import RecordBroken
from curewatch.logbook.entry import stored
from curewatch.logbook.sealing import Signed
from curewatch.record import verification
from curewatch.record.verification import verify_files
from tests import record_world as world
from tests.fault.test_attack_controls import any_entries, any_readings
from tests.record_attacks import OwnChain, Sealed, shell_check

AT = "2026-11-30T08:00:01.000Z"


def another_code(own: OwnChain) -> None:
    own.of_kind("seal")["afterwards"] = {"code": "0000-" * 6 + "0000"}


def another_reason(own: OwnChain) -> None:
    own.of_kind("seal")["afterwards"] = {"reason": "record"}


def a_second_text(own: OwnChain) -> None:
    own.of_kind("seal")["afterwards"] = {"also": {"text": "held"}}


def an_unsigned_seal(own: OwnChain) -> None:
    own.of_kind("seal")["afterwards"] = {"signature": "00" * 64}


def a_seal_of_another_head(own: OwnChain) -> None:
    told = own.of_kind("seal")["payload"]
    own.of_kind("seal")["payload"] = told | {"signed_by_him": False}
    own.of_kind("note")["payload"]["text"] = "clean"


def a_seal_of_another_time(own: OwnChain) -> None:
    own.of_kind("seal")["at"] = AT


def a_key_that_follows_nothing(own: OwnChain) -> None:
    payload = {"text": "curewatch key 1\n", "signature": "", "old_signature": ""}
    own.add("key", payload, int(own.blocks[-1][0]), None, AT)


def another_kind_in_the_list(own: OwnChain) -> None:
    own.listed[own.of_kind("alert")["number"]][2] = "note"


def another_owner_in_the_list(own: OwnChain) -> None:
    own.listed[own.of_kind("note")["number"]][3] = "0" * 32


def the_shed_in_the_list(own: OwnChain) -> None:
    own.listed[own.of_kind("note")["number"]][3] = "-"


def fewer_readings(own: OwnChain) -> None:
    row = own.blocks[5]
    own.counts[int(row[0])] = int(row[2]) - 1, int(row[4])


def more_entries(own: OwnChain) -> None:
    row = own.blocks[5]
    own.counts[int(row[0])] = int(row[2]), int(row[4]) + 1


def a_line_written_otherwise(own: OwnChain) -> None:
    note = own.of_kind("note")
    own.texts[note["number"]] = verification.entry.canonical(note).replace('"kind":', '"kind": ')


def a_name_twice_in_a_line(own: OwnChain) -> None:
    note = own.of_kind("note")
    plain = verification.entry.canonical(note)
    own.texts[note["number"]] = plain.replace('"payload":', '"payload":{"text":"held"},"payload":')


def an_account_of_another_block(own: OwnChain) -> None:
    own.of_kind("account")["payload"]["block"] -= 1


def an_account_with_two_digests(own: OwnChain) -> None:
    told = own.of_kind("account")["payload"]
    told["resins"] = {"pages": told["pages"]}
    told["pages"] = "0" * 64


def an_account_of_another_time(own: OwnChain) -> None:
    own.of_kind("account")["at"] = AT


def a_note_after_the_account(own: OwnChain) -> None:
    own.add("note", {"text": "it came off"}, int(own.blocks[-1][0]), world.JOB, AT)


def an_entry_of_another_block(own: OwnChain) -> None:
    own.of_kind("note")["block"] += 1


def readings_let_go_unsaid(own: OwnChain) -> None:
    number = own.blocks[8][0]
    own.blocks[8][7] = "left out"
    kept = [
        line
        for line in own.files["readings.csv"].splitlines(keepends=True)
        if not line.startswith(f"{number},".encode())
    ]
    own.files["readings.csv"] = b"".join(kept)


BENT: list[Callable[[OwnChain], None]] = [
    another_code,
    another_reason,
    a_second_text,
    an_unsigned_seal,
    a_seal_of_another_head,
    a_seal_of_another_time,
    a_key_that_follows_nothing,
    another_kind_in_the_list,
    another_owner_in_the_list,
    the_shed_in_the_list,
    fewer_readings,
    more_entries,
    a_line_written_otherwise,
    a_name_twice_in_a_line,
    an_account_of_another_block,
    an_account_with_two_digests,
    an_account_of_another_time,
    a_note_after_the_account,
    an_entry_of_another_block,
    readings_let_go_unsaid,
]


def no_seal_inside(entries: object, links: object, key: str) -> Signed:
    """Seals and keys among the entries are not looked at."""
    return Signed([], [], key)


# Which step of the check finds each of them; the others are found when the pages are made again.
FOUND_BY: dict[Callable[[OwnChain], None], tuple[str, Callable[..., Any]]] = {
    **dict.fromkeys(BENT[:7], ("_check_inner", no_seal_inside)),
    **dict.fromkeys(BENT[7:10], ("_entry", lambda line, listed: stored(line))),
    fewer_readings: ("_check_readings", any_readings),
    more_entries: ("_check_entries", any_entries),
    **dict.fromkeys([a_line_written_otherwise, a_name_twice_in_a_line], ("_is_canonical", lambda line: True)),
    an_entry_of_another_block: ("_entry", lambda line, listed: stored(line)),
}


def put(files: dict[str, bytes], folder: Path) -> Path:
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    return folder


@pytest.mark.long
def test_a_chain_written_by_the_owner_unbent_holds(sealed: Sealed, folder: Path):
    """What is refused below is refused for what was bent, not for who wrote it."""
    files = OwnChain(sealed).made()
    assert verify_files(files)
    assert shell_check(put(files, folder)).returncode == 0


@pytest.mark.parametrize("bend", BENT)
def test_what_was_bent_holds_without_the_step_that_finds_it(
    sealed: Sealed, bend: Callable[[OwnChain], None], monkeypatch: pytest.MonkeyPatch
):
    """The control: that step is taken out, and the pages are not made again."""
    own, pages = OwnChain(sealed), sealed.pages
    bend(own)
    monkeypatch.setattr(verification, "check_said", lambda *_: pages)
    if bend in FOUND_BY:
        with pytest.raises(RecordBroken):
            verify_files(own.made())
        monkeypatch.setattr(verification, *FOUND_BY[bend])
    assert verify_files(own.made())


@pytest.mark.long
@pytest.mark.parametrize("bend", BENT)
@pytest.mark.few(2)
def test_both_checks_refuse_what_the_owner_bent(
    sealed: Sealed, folder: Path, bend: Callable[[OwnChain], None]
):
    """Neither takes it."""
    own = OwnChain(sealed)
    bend(own)
    files = own.made()
    with pytest.raises(RecordBroken):
        verify_files(files)
    said = shell_check(put(files, folder))
    assert said.returncode == 5, said.stdout + said.stderr


@pytest.mark.long
def test_busybox_says_what_the_full_tools_say(sealed: Sealed, few_tools: str):
    """Of the whole folder, with PDF and HTML page: the same lines."""
    said = shell_check(sealed.folder, sealed.seal.code, path=few_tools)
    assert (said.returncode, said.stderr) == (0, "")
    assert said.stdout == shell_check(sealed.folder, sealed.seal.code).stdout


@pytest.mark.parametrize("tool", ["awk", "sort", "grep", "sed", "cmp", "openssl"])
@pytest.mark.few(2)
def test_a_tool_that_fails_never_means_holds(sealed: Sealed, few_tools: str, tmp_path: Path, tool: str):
    """Missing, or stopping at once: broken or cannot check, and never HOLDS."""
    shutil.copytree(few_tools, tmp_path / "tools", symlinks=True)
    stopped = tmp_path / "tools" / tool
    stopped.unlink()
    stopped.write_text("#!/bin/sh\nexit 3\n")
    stopped.chmod(0o755)
    said = shell_check(sealed.folder, path=str(tmp_path / "tools"))
    assert said.returncode in (2, 5)
    assert "HOLDS" not in said.stdout
