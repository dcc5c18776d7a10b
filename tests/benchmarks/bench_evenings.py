"""Evenings at real places: the chance that was told, and how often it came. Writes its part of ACCURACY.md.

Run: ``python -m tests.benchmarks.bench_evenings [--every N] [--write]``. All evenings of the two roof spaces,
asked at the start and eight hours before, without and with a forecast, take nine minutes of one processor.
"""

import argparse
from collections.abc import Sequence

from curewatch.model.film import flow_map
from tests.published.accuracy import FILE, RELIABILITY
from tests.published.evenings import RESINS, Evening, Score, evenings, reliability, score
from tests.published.forecast_trials import issues, roof

PLACES = ("roof_space_R2", "roof_space_R6")
HOUR = 16  # UTC; evening in Finland
WIDTH = 50  # columns of a diagram
TABLES = 200  # each evening has a lot of its own: their tables are met again and again
MANY, NEAR = 200, 0.07  # evenings of a tenth, and how near told and came must lie then
TITLES = {
    (0, False): "asked at the start, without a forecast",
    (8, False): "asked eight hours before, without a forecast",
    (8, True): "asked eight hours before, with a forecast",
}


def main() -> None:
    """Ask, print, and put the tables into ACCURACY.md if asked to."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--every", type=int, default=1, help="one evening in so many")
    options.add_argument("--write", action="store_true", help="into ACCURACY.md")
    asked = options.parse_args()
    flow_map.SHELF.most = TABLES
    found: dict[tuple[int, bool], list[Evening]] = {key: [] for key in TITLES}
    for place in PLACES:
        space = roof(place)
        for told in (False, True):
            made = issues(space) if told else []
            before = (8,) if told else (0, 8)
            for each in evenings(space, hour=HOUR, every=asked.every, before=before, forecasts=made):
                found[each.hours_before, told].append(each)
    text = written(found, f"python -m tests.benchmarks.bench_evenings --every {asked.every} --write")
    print(text)
    if asked.write:
        kept = FILE.read_text(encoding="utf-8").partition(RELIABILITY)[0].rstrip()
        FILE.write_text(f"{kept}\n\n{text}\n", encoding="utf-8")


def written(found: dict[tuple[int, bool], list[Evening]], command: str) -> str:
    """This part of ACCURACY.md."""
    sections = (line for key, some in found.items() for line in section(TITLES[key], some))
    return "\n".join([RELIABILITY, "", _intro(command), "", *wanted(found), *sections])


def wanted(found: dict[tuple[int, bool], list[Evening]]) -> list[str]:
    """What was wanted of the evenings, and whether it holds."""
    start, before, fed = (score(found[key]) for key in TITLES)
    tables = [reliability(some) for some in found.values()]
    far = max(abs(row.told - row.came) for table in tables for row in table if row.count >= MANY)
    below = [row for table in tables for row in table if row.told - row.came > 2 * row.standard_error]
    fell = 1.0 - fed.lost / before.lost
    rows = [
        (
            f"told and came in each tenth with {MANY} evenings",
            f"within {NEAR}",
            f"within {far:.3f}",
            far <= NEAR,
        ),
        (
            "tenths in which less came than told, by over two standard errors",
            "none",
            f"{len(below)} of {sum(len(table) for table in tables)}",
            not below,
        ),
        ("false GOs, asked at the start", "1 %", *_shares(start.false_go, 0.01)),
        ("good evenings lost, asked at the start", "10 %", *_shares(start.lost, 0.10)),
        ("false GOs, asked eight hours before, with a forecast", "5 %", *_shares(fed.false_go, 0.05)),
        ("good evenings lost then", "25 %", *_shares(fed.lost, 0.25)),
        ("by how much a forecast lessens them", "a third", f"{100 * fell:.0f} %", fell >= 1 / 3),
    ]
    return [
        "| wanted | at most | found | holds |",
        "|---|---|---|---|",
        *(
            f"| {name} | {asked} | {came} | {'yes' if holds else '**no**'} |"
            for name, asked, came, holds in rows
        ),
        "",
        _why(start, before, fed),
    ]


def _why(start: Score, before: Score, fed: Score) -> str:
    return (
        "A GO asks for a chance of 8 in 10. So of the evenings told 8 to 10 in 10 some must go wrong, and of "
        "those told less many are good. If each chance told were exact, false GOs would be "
        f"{100 * start.false_by_the_rule:.1f} % at the start, {100 * before.false_by_the_rule:.1f} % eight "
        f"hours before and {100 * fed.false_by_the_rule:.1f} % with a forecast, and "
        f"{100 * start.lost_by_the_rule:.0f}, {100 * before.lost_by_the_rule:.0f} and "
        f"{100 * fed.lost_by_the_rule:.0f} % of the good evenings would be lost. Fewer of both need surer "
        "knowledge, not other chances: with the weather known 16 % are lost (every fourth evening, "
        "curewatch/model/air/README.md). Who wants fewer false GOs sets `[limits] probability` higher, and "
        "loses more good evenings."
    )


def _shares(found: float, most: float) -> tuple[str, bool]:
    return f"{100 * found:.1f} %", found <= most


def _intro(command: str) -> str:
    return (
        f"Made by `{command}`: evenings in two real unheated roof spaces (TRH database, CC BY 4.0), "
        "epoxy-slow and polyester-laminating. The program hears the series plus one constant error of each "
        "sensor, drawn from the classes `humidity-2` and `probe`. *Came*: every limit was kept until the "
        "film set. *Spread*: two standard errors of the share, if the chance told is right."
    )


def section(title: str, found: Sequence[Evening]) -> list[str]:
    """Scores, the table by tenths and its diagram."""
    lines = ["", f"**{title[0].upper()}{title[1:]}**", ""]
    lines += [
        "| resin | evenings | good | GO | false GO | good evenings lost | Brier |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in (*RESINS, ""):
        some = [each for each in found if name in {"", each.resin}]
        made = score(some)
        lines.append(
            f"| {name or 'both'} | {made.count} | {sum(each.came for each in some)} | {made.go} | "
            f"{100 * made.false_go:.1f} % | {100 * made.lost:.0f} % | {made.brier:.3f} |"
        )
    exact = score(found)
    lost, false = 100 * exact.lost_by_the_rule, 100 * exact.false_by_the_rule
    lines += ["", f"If each chance told were exact: lost {lost:.0f} %, false {false:.1f} %."]
    lines += ["", "| told | evenings | mean told | came | spread |", "|---|---|---|---|---|"]
    table = reliability(found)
    lines += [
        f"| {100 * row.low:.0f} to {100 * row.high:.0f} % | {row.count} | {row.told:.2f} | {row.came:.2f} | "
        f"{2 * row.standard_error:.2f} |"
        for row in table
    ]
    lines += ["", "```", f"told    0 {'chance told o, came x (both *)':^{WIDTH - 4}} 1"]
    for row in table:
        places = list("." * (WIDTH + 1))
        for share, mark in ((row.told, "o"), (row.came, "x")):
            at = round(share * WIDTH)
            places[at] = mark if places[at] == "." else "*"
        lines.append(f"{row.low:.1f}-{row.high:.1f} {''.join(places)} {row.count}")
    return [*lines, "```"]


if __name__ == "__main__":
    main()
