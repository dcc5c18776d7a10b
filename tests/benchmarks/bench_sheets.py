"""How often the bands of a fit hold the truth: 400 sheets of resins whose kinetics are not ours.

Run: python -m tests.benchmarks.bench_sheets [SHEETS]
"""

import sys

from tests.other_sheets import coverage

SHEETS = 400


def main() -> None:
    """Print the table; exit 1 where a band of 9 in 10 holds less than 85 or more than 95 in 100."""
    sheets = int(sys.argv[1]) if len(sys.argv) > 1 else SHEETS
    found = coverage(sheets)
    print(f"{sheets} sheets; bands of 9 in 10 hold the truth:")
    for title, share in found.held.items():
        print(f"  {title:<30}{100 * share:>6.1f} %")
    print(f"  {'called contradictory':<30}{100 * found.contradictory:>6.1f} %")
    print(f"  {'asked back':<30}{100 * found.asked_back:>6.1f} %")
    print(f"  {'told that it is cautious':<30}{100 * found.cautious:>6.1f} %")
    wrong = [title for title, share in found.held.items() if not 0.85 <= share <= 0.95]
    raise SystemExit(1 if wrong or found.contradictory > 0.03 else 0)


if __name__ == "__main__":
    main()
