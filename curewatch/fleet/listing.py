"""The daily list of all heads of a fleet: signed with the operator's key, dated, its code told to each shed.

Sheds whose readings come here are sealed and told in their logbooks. A shed with its own daemon seals itself:
its newest seal among the copied blocks is listed, and the list's code goes back with the next answer. Law:
done again the list is gone on with, whoever was killed; no line is added to a copy.
"""

from collections.abc import Mapping
from pathlib import Path

from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import RecordBroken, UsageError
from curewatch.fleet.copying import LISTED
from curewatch.fleet.plan import FleetPlan
from curewatch.fleet.shed_name import open_shed
from curewatch.logbook import heads, open_logbook, sealing
from curewatch.logbook.heads import HeadsList, ListedHead
from curewatch.logbook.keys import operators_key
from curewatch.logbook.stamping import Authority


def key_path(plan_file: Path) -> Path:
    """Where the operator's key lies: beside the file of the fleet, outside of any database."""
    return plan_file.with_name(f"{plan_file.name}.key")


def listed(
    file: Path,
    plan_file: Path,
    plan: FleetPlan,
    sheds: Mapping[str, Configuration],
    *,
    authority: Authority | None,
    at: float,
) -> tuple[HeadsList, list[str]]:
    """The list in this file, made if it is not there; and the copies that have no seal yet. UTC [s]

    Raises
    ------
    UsageError
        No shed has a seal.
    StoreFailed
        A store, or the authority, does not answer: done again it is gone on with.
    """
    left = []
    if file.exists():
        made = heads.load(file)
    else:
        found: list[ListedHead] = []
        for name, shed in sheds.items():
            try:
                found.append(_newest(name, shed, copied=name in plan.copies, at=at))
            except UsageError:
                left.append(name)
        if not found:
            raise UsageError("heads: found no seal of any shed. Use it when the first blocks have come")
        made = heads.signed(found, at, operators_key(key_path(plan_file)))
        heads.save(file, made)
    for one in made.heads:
        if one.shed in sheds:
            _tell(sheds[one.shed], made.code, copied=one.shed in plan.copies, at=at)
    return heads.stamped(file, made, authority), left


def check(listed_heads: HeadsList, sheds: Mapping[str, Configuration], key: str, roots: bytes | None) -> None:
    """Walk every listed chain, one after the other; ``key`` is the operator's, public.

    Raises
    ------
    RecordBroken
        Names the first that does not hold.
    """
    heads.check_text(listed_heads, roots)
    if listed_heads.public_key != key:
        name = f"heads ({listed_heads.code})"
        raise RecordBroken(name, f"the operator's key {key}", f"key {listed_heads.public_key}")
    for one in listed_heads.heads:
        if one.shed not in sheds or not logbook_path(sheds[one.shed]).exists():
            heads.check_head(one, None)
            continue
        with open_logbook(logbook_path(sheds[one.shed]), read_only=True) as logbook:
            heads.check_head(one, logbook)


def _newest(name: str, shed: Configuration, *, copied: bool, at: float) -> ListedHead:
    with open_shed(name, shed) as logbook:
        if not copied:
            sealing.seal(logbook, reason="day", at=at)
        return heads.listed_head(name, logbook)


def _tell(shed: Configuration, code: str, *, copied: bool, at: float) -> None:
    with open_logbook(logbook_path(shed)) as logbook:
        if copied:
            logbook.append(notes={LISTED: code.encode()})
        else:
            heads.tell(logbook, code, at)
