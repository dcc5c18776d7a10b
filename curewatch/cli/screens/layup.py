"""The layup plan in words: the answer, the section, what it takes, the batches, the sessions."""

from collections.abc import Iterator
from textwrap import wrap

from curewatch.advice.judge import cautions
from curewatch.advice.plan.layup import LayupPlan
from curewatch.advice.plan.mixing import smallest_batch
from curewatch.advice.plan.sessions import CHEMICAL, FIRST, Session
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens import section
from curewatch.model.film.recoat_window import closes_earlier
from curewatch.wording import Wording, duration

WIDTH = 80
EVENING = 16 * 3600.0  # s: what begins within this is said to be tonight


def lines(plan: LayupPlan, wording: Wording, now: float, scale_step: float, width: int = WIDTH) -> list[str]:
    """The whole screen, made for 80 columns; the section is drawn to fit a narrower one."""
    return [
        *wrap(answer(plan, wording, now), WIDTH, subsequent_indent="  "),
        *_repair(plan),
        "",
        "Cautions",
        *(line for caution in minded(plan, wording) for line in _wrapped(caution)),
        "",
        *section.characters(plan.amounts.taper, width),
        "",
        *takes(plan, wording),
        *_mixing(plan, wording, scale_step),
        *_sessions(plan, wording, now, scale_step),
    ]


def answer(plan: LayupPlan, wording: Wording, now: float) -> str:
    """What can be done tonight, first."""
    count = len(plan.works)
    if plan.schedule is None:
        return f"UNKNOWN WHEN   {count} layers; the amounts below hold, the times need fresh readings"
    sessions = plan.schedule.sessions
    tonight = [session for session in sessions if session.begin - now <= EVENING]
    done = sum(len(session.layers) for session in tonight)
    if done == count:
        return f"ALL {count} LAYERS   {_span(tonight, wording, now)}"
    if done:
        rest = "the rest finds no start in 48 h"
        if len(sessions) > len(tonight):
            rest = f"the rest from {wording.moment(sessions[len(tonight)].begin, now)}"
        return f"PART TONIGHT   {done} of {count} layers, {_span(tonight, wording, now)}; {rest}"
    if sessions:
        return f"NOT TONIGHT   first start {wording.moment(sessions[0].begin, now)}"
    return "NO START in the coming 48 hours: `curewatch windows` shows what forbids it"


def _span(sessions: list[Session], wording: Wording, now: float) -> str:
    return wording.span(sessions[0].begin, sessions[-1].end, now)


def _repair(plan: LayupPlan) -> list[str]:
    repair, taper = plan.repair, plan.amounts.taper
    hole = taper.outline
    size = f"{hole.length * 1000:.0f}"
    if hole.shape not in {"round"}:
        size += f" x {hole.width * 1000:.0f}"
    sides = "one side" if taper.sides == 1 else "both sides"
    return _wrapped(
        f"{hole.shape} hole of {size} mm in {taper.thickness * 1000:g} mm of laminate on {repair.substrate}: "
        f"scarf {taper.ratio:g} to 1 from {sides}, {taper.scarf * 1000:.0f} mm each way"
    )


def takes(plan: LayupPlan, wording: Wording) -> list[str]:
    """What to have on the bench."""
    made, cloth = plan.amounts, plan.repair.cloth
    ground = f"ground area {made.taper.ground_area:.3f} m²"
    parts = f"resin {wording.mass(made.resin)} ({wording.volume(made.resin_volume)}), "
    parts += f"{plan.proportion.added} {wording.mass(made.added)} ({wording.volume(made.added_volume)})"
    layers = f"{len(plan.works)} layers of {cloth.title}, {wording.areal_mass(cloth.areal_mass)}"
    return [
        "What it takes",
        *_wrapped(f"{layers}, {made.layer_thickness * 1000:.2f} mm each when cured"),
        f"  cloth {made.cloth_area:.3f} m², {wording.mass(made.cloth_mass)}; {ground}",
        f"  mixed {plan.resin.name} {wording.mass(made.mixed)}, with {100 * plan.repair.waste:.0f} % waste",
        f"  {parts}",
    ]


def _mixing(plan: LayupPlan, wording: Wording, scale_step: float) -> list[str]:
    ratio = plan.proportion
    smallest = wording.mass(smallest_batch(ratio, scale_step))
    allowed = f"allowed {100 * ratio.lowest:.1f} to {100 * ratio.highest:.1f}"
    return [
        f"  by mass: {ratio.said(ratio.usual)}; {allowed}",
        *_wrapped(f"({ratio.tag}: {ratio.source})"),
        f"  smallest batch on a scale of {wording.weighed(scale_step)} steps: {smallest}",
    ]


def _sessions(plan: LayupPlan, wording: Wording, now: float, scale_step: float) -> Iterator[str]:
    made = plan.schedule
    if made is None:
        return
    yield ""
    heat = (
        ""
        if plan.peak_temperature is None
        else f", they then reach {wording.temperature(plan.peak_temperature)}"
    )
    yield f"Sessions (at most {made.layers_in_one_go} layers in one go{heat})"
    for number, session in enumerate(made.sessions, start=1):
        yield from session_lines(plan, number, session, wording, now, scale_step=scale_step)
    if made.left_over:
        first, last = made.left_over[0].number, made.left_over[-1].number
        which = f"layer {first} finds" if first == last else f"layers {first} to {last} find"
        yield f"  left over: {which} no start in the coming 48 hours"
    yield from _wrapped(f"The coming hours: {plan.basis}")


def session_lines(
    plan: LayupPlan, number: int, session: Session, wording: Wording, now: float, *, scale_step: float
) -> Iterator[str]:
    """One session: when, what, how it bonds, what to weigh."""
    first, last = session.layers[0].number, session.layers[-1].number
    which = f"layer {first}" if first == last else f"layers {first} to {last}"
    when = wording.span(session.begin, session.end, now)
    yield from _wrapped(f"{number}. {when}: {which}, {session.layers[0].side}; bond {session.bond}")
    cup, batches = plan.cup(session), session.batches
    if cup is None or batches is None:
        slower = "a slower hardener" if plan.proportion.added == "hardener" else "less peroxide"
        yield f"     no batch lasts until it is spread: {slower}, a cooler shed or more hands"
        return
    low, high = wording.mass(cup.scale_lowest), wording.mass(cup.scale_highest)
    until = f"then {plan.proportion.added} until {wording.mass(cup.mass)} ({low} to {high})"
    yield f"     {batches.count} x {wording.mass(cup.mass)}: {wording.mass(cup.resin)} resin, {until}"
    use = duration(batches.share * batches.pot_life)
    yield f"     each spread within {use}; left in its cup it kicks after {duration(batches.pot_life)}"
    if plan.too_small_for(session, scale_step):
        yield "     too small a batch for this scale: use a finer one"
    if session.bond in {FIRST, CHEMICAL} and session.next_from and session.next_before:
        yield (
            f"     next layer from {wording.moment(session.next_from, now)}, "
            f"before {wording.moment(session.next_before, now)}"
        )
        thick = closes_earlier(len(session.layers) * plan.amounts.layer_thickness)
        yield from [f"     {thick}"] if thick else []


def minded(plan: LayupPlan, wording: Wording) -> tuple[str, ...]:
    """The cautions, in the reader's units; they stand before the steps they protect."""
    sessions = () if plan.schedule is None else plan.schedule.sessions
    largest = max(
        (one.batches.mass for one in sessions if one.batches is not None), default=plan.amounts.mixed
    )
    found = cautions.for_layup(
        plan.resin.kind, pot_overheats=cautions.pot_overheats(plan.resin, largest), abrading=True
    )
    return tuple(wording.retold(caution) for caution in found)


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return wrap(safe_line(text), WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
