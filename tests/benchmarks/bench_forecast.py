"""What a forecast does to the outlook's errors at real places, from every start of each.

Run: ``python -m tests.benchmarks.bench_forecast [PLACE …] [--every HOURS]``. Places are R2 and R6 (real roof
spaces, each with and without a sensor outside) and the airports EWR, JFK and LGA. All starts of all places
take about two hours of one processor.
"""

import argparse

from tests.published.forecast_trials import AHEAD, WORDS, hangar, issues, losses, roof

PLACES = ("R2", "R6", "JFK", "LGA", "EWR")


def main() -> None:
    """Print, for each place and quantity, errors without and with a forecast, and the worst share."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("place", nargs="*", default=PLACES, help=", ".join(PLACES))
    options.add_argument("--every", type=int, default=1, help="hours between starts")
    options.add_argument("--first-edition", action="store_true", help="the defect put back")
    asked = options.parse_args()
    for name in asked.place:
        space = roof(f"roof_space_{name}") if name.startswith("R") else hangar(name)
        made = issues(space)
        for sensor in (True, False) if name.startswith("R") else (False,):
            found = losses(
                space, made, sensor_outside=sensor, every=asked.every, first_edition=asked.first_edition
            )
            print(f"{name}, {'with' if sensor else 'without'} a sensor outside, every {asked.every} h")
            print("  hours ahead  " + "".join(f"{ahead:>14d}" for ahead in AHEAD))
            for word, before, after in zip(WORDS, found.without, found.told, strict=True):
                pairs = "".join(f"{one:8.2f}->{other:.2f}" for one, other in zip(before, after, strict=True))
                print(f"  {word:12s} {pairs}")
            print(f"  worst {100 * found.worst:+.1f} %", flush=True)


if __name__ == "__main__":
    main()
