"""How many slips by a factor of two are named, on sheets of resins whose kinetics are not ours.

Run: python -m tests.benchmarks.bench_slips [RESINS [SEED]]
"""

import sys

from tests.other_sheets import Slips, counted, slips, without_doubts

RESINS, SEED = 36, 2027


def main() -> None:
    """Print the counts and both controls; exit 1 where one slip in 50 or one unsafe in 100 is missed."""
    resins, seed = (int(each) for each in (*sys.argv[1:], *map(str, (RESINS, SEED)[len(sys.argv) - 1 :])))
    found = counted(slips(resins, seed))
    without_doubts(setattr)
    blind = counted(slips(1, seed))
    print(_told("slips", found))
    print(f"sheets without a slip: something doubted in {found.doubted_without} of {resins}")
    print(_told("without limits, the control: slips", blind))
    wrong = found.unsafe_missed > found.unsafe / 100 or found.missed > found.total / 50
    raise SystemExit(1 if wrong or blind.missed < blind.total else 0)


def _told(what: str, found: Slips) -> str:
    named, unsafe = found.total - found.missed, found.unsafe - found.unsafe_missed
    return f"{what}: {named} of {found.total} named, of the unsafe {unsafe} of {found.unsafe}"


if __name__ == "__main__":
    main()
