"""How fast the cure model is, against SciPy at equal error, and what its limit is.

Run: python -m tests.benchmarks.bench_cure

Times are processor time of this process (medians), so that a neighbour on the same machine counts little.
"""

import math
import statistics
import time
from collections.abc import Callable
from typing import Any
from unittest.mock import patch

import numpy as np
from scipy.integrate import solve_ivp

from curewatch.materials import Resin, load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.ensemble import cures, milestone_times
from curewatch.model.film.ensemble_steps import Ensemble, Heat
from curewatch.model.film.film import History, constant, cure
from curewatch.model.film.flow_map import flow_map
from curewatch.model.film.lots import Lot
from curewatch.model.mass.buildup import Buildup
from curewatch.model.mass.laminate import LaminateLayer, laminate
from curewatch.model.mass.pot import pot
from curewatch.units import HOUR, FloatArray

PATHS, HOURS, EVERY = 24, 72.0, 600.0
TIGHT = 1e-11


def median(work: Callable[[], Any], repeats: int) -> float:
    """Median time of some repeats. [ms]"""
    taken = []
    for _ in range(repeats):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return 1000.0 * statistics.median(taken)


def weather(members: int, hours: float) -> History:
    """Days and nights, wandering, some with a heater; a fixed seed."""
    rng, at = np.random.default_rng(1), np.arange(0.0, hours * HOUR + 1.0, EVERY)
    low, swing, phase = (
        rng.uniform(277, 297, members),
        rng.uniform(1, 8, members),
        rng.uniform(0, 6.3, members),
    )
    drift = 0.1 * np.cumsum(rng.normal(0.0, 1.0, (members, at.size)), axis=1)
    heater = 6.0 * (np.floor(at / (5 * HOUR)) % 2) * (np.arange(members)[:, None] % 3 == 0)
    daily = swing[:, None] * np.sin(2 * np.pi * at / (24 * HOUR) + phase[:, None])
    return History(at, np.clip(low[:, None] + daily + drift + heater, 265.0, 310.0))


def solved(resin: Resin, path: History, tolerance: float, at: FloatArray | None = None) -> FloatArray:
    """LSODA with a plain Python right side: the fastest that solve_ivp offers here."""
    law = resin.law().at(math.exp)
    time_list, warmth, every = path.time.tolist(), path.temperature.tolist(), EVERY

    def rate(now: float, state: FloatArray) -> list[float]:
        index = min(int(now / every), len(time_list) - 2)
        share = (now - time_list[index]) / every
        return [law(float(state[0]), warmth[index] + share * (warmth[index + 1] - warmth[index]))]

    longest = 300.0 if tolerance < 1e-9 else np.inf
    found = solve_ivp(
        rate, (0.0, path.time[-1]), [0.0], method="LSODA",
        rtol=tolerance, atol=0.01 * tolerance, t_eval=at, max_step=longest,
    )  # fmt: skip
    return np.asarray(found.y[0])


def usual(resin: Resin, path: History, tolerance: float) -> FloatArray:
    """LSODA with the equations as one writes them first, on numpy."""
    law = resin.law().at(np.exp)

    def rate(now: float, state: FloatArray) -> FloatArray:
        return law(state, np.interp(now, path.time, path.temperature))

    found = solve_ivp(
        rate, (0.0, path.time[-1]), [0.0], method="LSODA", rtol=tolerance, atol=0.01 * tolerance
    )
    return np.asarray(found.y[0])


def equal_tolerance(
    resin: Resin, paths: list[History], references: list[FloatArray], at: FloatArray, allowed: float
) -> float:
    """The loosest tolerance at which LSODA stays within the error that is allowed."""
    for tolerance in (1e-3, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 1e-7):
        worst = max(
            float(np.max(np.abs(solved(resin, path, tolerance, at) - expected)))
            for path, expected in zip(paths, references, strict=True)
        )
        if worst <= allowed:
            return tolerance
    return 1e-8


def report(work: str, ours: str, theirs: str, ratio: str, note: str = "") -> None:
    print(f"{work:<44}{ours:>12}{theirs:>14}{ratio:>9}  {note}")


def main() -> None:
    """Print the table."""
    resin = load_resin("epoxy-slow")
    ensemble = weather(PATHS, HOURS)
    paths = [History(ensemble.time, row) for row in ensemble.temperature]
    at = np.arange(0.0, HOURS * HOUR + 1, 900.0)
    references = [solved(resin, path, TIGHT, at) for path in paths]
    report("work", "here", "solve_ivp", "ratio")
    film(resin, paths, references, at)
    many(resin)
    own_heat(resin)
    one_pot()
    thick()
    limits(resin)


def film(resin: Resin, paths: list[History], references: list[FloatArray], at: FloatArray) -> None:
    """Its error is that of the curve as readers draw it: straight between its points, every 15 minutes."""
    worst = 0.0
    for path, expected in zip(paths, references, strict=True):
        own = cure(resin, path)
        read = np.interp(at, own.time, own.conversion)
        worst = max(worst, float(np.max(np.abs(read - expected))))
    tolerance = equal_tolerance(resin, paths, references, at, worst)
    each, theirs, plainly = (
        [median(lambda work=work, path=path: work(path), repeats) for path in paths]
        for work, repeats in (
            (lambda path: cure(resin, path), 25),
            (lambda path: solved(resin, path, tolerance), 5),
            (lambda path: usual(resin, path, tolerance), 5),
        )
    )
    ours, calm, switched = statistics.mean(each), [*each[1::3], *each[2::3]], each[::3]
    report("one film, 72 h; nights and days", f"{min(calm):.2f}-{max(calm):.2f} ms", "", "")
    report("one film, 72 h; a heater switched", f"{min(switched):.2f}-{max(switched):.2f} ms", "", "")
    for label, others, note in (
        ("LSODA as usual, numpy", plainly, ""),
        ("LSODA, plain Python", theirs, f"error {worst:.1e} of both: LSODA at rtol {tolerance:g}"),
    ):
        mean = statistics.mean(others)
        ratio = f"{mean / ours:.0f}x"
        report(f"one film, 72 h; {label}", f"{ours:.2f} ms", f"{mean:.1f} ms", ratio, note)


def many(resin: Resin) -> None:
    lot = [Lot(resin, 1.0)]
    ensemble = weather(1000, HOURS)
    theirs = 1000 * median(lambda: solved(resin, History(ensemble.time, ensemble.temperature[0]), 1e-5), 5)
    ours = median(lambda: cures(resin, ensemble, lot), 9)
    report(
        "1,000 members, 72 h",
        f"{ours:.0f} ms",
        f"{theirs / 1000:.0f} s",
        f"{theirs / ours:.0f}x",
        "LSODA: one, times 1,000",
    )
    wide = weather(256, HOURS + 96.0)
    starts = 1800.0 * np.arange(193)
    loop = theirs / 1000 * 193 * 256
    for label, chosen in (("one lot", lot), ("16 lots", None)):
        ours = median(lambda chosen=chosen: milestone_times(resin, wide, starts=starts, chosen=chosen), 5)  # type: ignore[misc]
        report(
            f"193 starts x 256 members, marks, {label}", f"{ours:.0f} ms", f"{loop / 1000:.0f} s",
            f"{loop / ours:.0f}x", "LSODA: extrapolated",
        )  # fmt: skip


def own_heat(resin: Resin) -> None:
    """Layers of 2.4 mm on plywood; the error is that of gel against steps of 14 s."""
    wide, starts = weather(256, HOURS + 96.0), 1800.0 * np.arange(193)
    heat = Heat(Buildup(2.4e-3, load_substrate("plywood")), wide.temperature)
    ours = median(lambda: milestone_times(resin, wide, starts=starts, heat=heat), 3)
    few = History(wide.time, wide.temperature[:4])
    one = heat._replace(air=few.temperature)
    told = milestone_times(resin, few, chosen=[Lot(resin, 1.0)], heat=one)["gel"]
    with patch.object(Ensemble, "short", property(lambda _: 14.0625)):
        exact = milestone_times(resin, few, chosen=[Lot(resin, 1.0)], heat=one)["gel"]
    error = float(np.nanmax(np.abs(told / exact - 1.0)))
    report("193 starts x 256 members, own heat", f"{ours:.0f} ms", "", "", f"gel within {100 * error:.2f} %")


def one_pot() -> None:
    resin = load_resin("epoxy-fast")

    def lsoda(mass: float = 0.35, air: float = 293.15) -> Any:
        from curewatch.model.mass.pot import body

        law, loss = resin.law().at(math.exp), body(resin, mass).loss
        rise = resin.thermal.reaction_heat / resin.thermal.heat_capacity

        def rate(_: float, state: FloatArray) -> list[float]:
            speed = law(min(max(float(state[0]), 0.0), 1.0), float(state[1]))
            return [speed, rise * speed - loss * (float(state[1]) - air)]

        return solve_ivp(rate, (0.0, 6 * HOUR), [0.0, air], method="LSODA", rtol=1e-5, atol=[1e-6, 1e-3])

    theirs = median(lsoda, 5)
    for label, grid in (("one temperature", False), ("8 shells", True)):
        ours = median(lambda grid=grid: pot(resin, 0.35, 293.15, grid=grid), 9)  # type: ignore[misc]
        ratio = "" if grid else f"{theirs / ours:.0f}x"
        report(
            f"350 g cup with runaway, 6 h, {label}",
            f"{ours:.1f} ms",
            "" if grid else f"{theirs:.1f} ms",
            ratio,
        )


def thick() -> None:
    still, under = constant(293.15, 24 * HOUR), load_substrate("plywood")
    plans = {
        "8 mm": [LaminateLayer(0.0, 0.008)],
        "2 x 4 mm, an hour apart": [LaminateLayer(0.0, 0.004), LaminateLayer(HOUR, 0.004)],
    }
    for label, plan in plans.items():
        for name in ("epoxy-slow", "epoxy-fast", "polyester-laminating"):
            resin = load_resin(name)
            ours = median(lambda resin=resin, plan=plan: laminate(resin, plan, still, under), 7)  # type: ignore[misc]
            report(f"laminate {label}, 24 h, {name}", f"{ours:.0f} ms", "", "")


def limits(resin: Resin) -> None:
    """The work that cannot be left out, alone: powers and exponentials of a film, look-ups of an ensemble."""
    x, stages = 0.3, 3 * 298

    def powers() -> None:
        for _ in range(stages):
            _ = x**0.85, (1.0 - x) ** 1.5, math.exp(x)

    alone = median(powers, 21)
    whole = median(lambda: cure(resin, constant(288.15, HOURS * HOUR)), 21)
    print(
        f"\nfilm: its {stages} powers and exponentials take {alone:.2f} of {whole:.2f} ms; the rest is Python"
    )
    table = flow_map([Lot(resin, 1.0)], 275.0, 300.0, 450.0)
    index = np.random.default_rng(0).integers(0, len(table.coefficients), (193, 256)).astype(np.int32)
    out = np.empty((*index.shape, 4), np.float32)
    one = median(lambda: table.coefficients.take(index, axis=0, out=out, mode="clip"), 41)
    size = table.coefficients.nbytes / 1024
    print(
        f"ensemble: the look-ups for 49,408 films take {one:.3f} ms a step, {576 * one:.0f} ms for 72 h; "
        f"the table has {size:.0f} kB a lot: cache, not memory, is its limit"
    )


if __name__ == "__main__":
    main()
