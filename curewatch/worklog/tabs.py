"""Own bond tests in the logbook: how each was laid out, and the tabs as they broke."""

import secrets
from collections.abc import Sequence
from typing import Any

from msgspec import Struct, field
from msgspec.structs import replace

from curewatch.advice.choose.tabs import Broke, Compared, Pull, Tab, compared, in_words, order
from curewatch.errors import UsageError
from curewatch.logbook import Entry, EntryKind, LogbookStore


class TabTest(Struct, frozen=True):
    """One test: two or more ways of laying on one face."""

    name: str  # T1, T2 ...
    at: float  # UTC, when it was laid out [s]
    face: str
    pull: Pull
    order: tuple[str, ...]  # the way of tab 1, 2, ... in the order in which they are broken
    lot: str = ""  # of the resins and the timber, in the person's words
    job: str | None = None  # whose record has it
    tabs: tuple[Tab, ...] = field(default=())
    unit: str = "kg"

    @property
    def ways(self) -> tuple[str, ...]:
        """The ways that are compared."""
        return tuple(dict.fromkeys(sorted(self.order)))

    @property
    def next_tab(self) -> int | None:
        """The number of the tab that is broken next; none when all are."""
        broken = {tab.number for tab in self.tabs}
        return next((n for n in range(1, len(self.order) + 1) if n not in broken), None)

    def compared(self) -> tuple[tuple[str, str, Compared | None], ...]:
        """Each two ways."""
        ways = self.ways
        return tuple(
            (one, other, compared(self.tabs, one, other))
            for place, one in enumerate(ways)
            for other in ways[place + 1 :]
        )


def lay_out(
    logbook: LogbookStore,
    ways: Sequence[str],
    *,
    each: int,
    face: str,
    pull: Pull,
    now: float,
    lot: str = "",
    job: str | None = None,
    seed: int | None = None,
) -> TabTest:
    """Begin a test; the order of its tabs is drawn by lot and kept.

    Raises
    ------
    UsageError
        Not two different ways, or too few tabs.
    """
    drawn = order(ways, each, secrets.randbits(32) if seed is None else seed)
    made = TabTest(f"T{len(tests(logbook)) + 1}", now, face, pull, drawn, lot, job)
    payload = {"test": made.name, "face": face, "pull": pull.value, "order": list(drawn), "lot": lot}
    logbook.write(Entry(EntryKind.TAB_TEST, payload, now, job=job))
    return made


def tests(logbook: LogbookStore) -> tuple[TabTest, ...]:
    """Every test with its broken tabs, oldest first; of a tab told twice the last word counts."""
    broken: dict[str, dict[int, Tab]] = {}
    units: dict[str, str] = {}
    for entry in logbook.entries(EntryKind.TAB):
        told = entry.payload
        tab = Tab(int(told["tab"]), str(told["way"]), float(told["load"]), Broke(told["broke"]))
        broken.setdefault(str(told["test"]), {})[tab.number] = tab
        units[str(told["test"])] = str(told["unit"])
    return tuple(
        TabTest(
            name := str(entry.payload["test"]),
            entry.at,
            str(entry.payload["face"]),
            Pull(entry.payload["pull"]),
            tuple(entry.payload["order"]),
            str(entry.payload.get("lot", "")),
            entry.job,
            tuple(broken.get(name, {}).values()),
            units.get(name, "kg"),
        )
        for entry in logbook.entries(EntryKind.TAB_TEST)
    )


def named(logbook: LogbookStore, name: str | None) -> TabTest:
    """The test of this name; without one, the last.

    Raises
    ------
    UsageError
        There is none.
    """
    found = {each.name: each for each in tests(logbook)}
    if not found:
        raise UsageError("bond test: found none. Use `curewatch tabs lay WAY WAY` to begin one")
    if name is None:
        return list(found.values())[-1]
    if name.upper() not in found:
        raise UsageError(f"bond test: found {name!r}. Use {', '.join(found)}")
    return found[name.upper()]


def tell(
    logbook: LogbookStore,
    test: TabTest,
    load: float,
    unit: str,
    broke: Broke,
    *,
    number: int | None,
    now: float,
) -> TabTest:
    """Write down a tab as it broke: the next one, or the one that is named.

    Raises
    ------
    UsageError
        All are broken, no such tab, a load of nothing, or another unit than the tabs before.
    """
    at = test.next_tab if number is None else number
    if at is None:
        raise UsageError(f"{test.name}: all {len(test.order)} tabs are broken. Use --tab to correct one")
    if not 1 <= at <= len(test.order):
        raise UsageError(f"tab: found {at}. Use 1 to {len(test.order)}")
    if load <= 0:
        raise UsageError(f"load: found {load:g}. Use the load at which the tab broke, above 0")
    if test.tabs and unit != test.unit:
        raise UsageError(f"load: found {unit}. Use {test.unit}, as for the tabs before")
    payload: dict[str, Any] = {
        "test": test.name,
        "tab": at,
        "way": test.order[at - 1],
        "load": load,
        "unit": unit,
        "broke": broke.value,
    }
    tab = Tab(at, test.order[at - 1], load, broke)
    after = replace(test, tabs=(*(each for each in test.tabs if each.number != at), tab), unit=unit)
    if after.next_tab is None:  # the record says with the last tab what the test showed
        payload["text"] = " ".join(in_words(found, test.pull) for _, _, found in after.compared())
    logbook.write(Entry(EntryKind.TAB, payload, now, job=test.job))
    return after
