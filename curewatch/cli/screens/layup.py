"""The layup plan in words: the answer, the section, what it takes, the batches, the sessions."""

from collections.abc import Iterator
from textwrap import wrap

from curewatch.answers.document import moment, spoken
from curewatch.answers.layup import LayupDocument, LayupSessionDocument
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens import section
from curewatch.units import kilogram_from_gram
from curewatch.wording import Wording

WIDTH = 80
EVENING = 16 * 3600.0  # s: what begins within this is said to be tonight


def lines(plan: LayupDocument, wording: Wording, width: int = WIDTH) -> list[str]:
    """The whole screen, made for 80 columns; the section is drawn to fit a narrower one."""
    return [
        *wrap(answer(plan, wording), WIDTH, subsequent_indent="  "),
        *_repair(plan),
        "",
        "Cautions",
        *(line for caution in minded(plan, wording) for line in _wrapped(caution)),
        "",
        *section.characters(plan, width),
        "",
        *takes(plan, wording),
        *_mixing(plan, wording),
        *_sessions(plan, wording),
    ]


def answer(plan: LayupDocument, wording: Wording) -> str:
    """What can be done tonight, first."""
    count, now = len(plan.layers), moment(plan.at)
    if plan.schedule is None:
        return f"UNKNOWN WHEN   {count} layers; the amounts below hold, the times need fresh readings"
    sessions = plan.schedule.sessions
    tonight = [session for session in sessions if moment(session.start) - now <= EVENING]
    done = sum(len(session.layers) for session in tonight)
    if done == count:
        return f"ALL {count} LAYERS   {_span(tonight, wording, now)}"
    if done:
        rest = "the rest finds no start in 48 h"
        if len(sessions) > len(tonight):
            rest = f"the rest from {wording.moment(moment(sessions[len(tonight)].start), now)}"
        return f"PART TONIGHT   {done} of {count} layers, {_span(tonight, wording, now)}; {rest}"
    if sessions:
        return f"NOT TONIGHT   first start {wording.moment(moment(sessions[0].start), now)}"
    return "NO START in the coming 48 hours: `curewatch windows` shows what forbids it"


def _span(sessions: list[LayupSessionDocument], wording: Wording, now: float) -> str:
    return wording.span(moment(sessions[0].start), moment(sessions[-1].end), now)


def when(session: LayupSessionDocument, wording: Wording, now: float) -> str:
    """From its start to its end."""
    return _span([session], wording, now)


def _repair(plan: LayupDocument) -> list[str]:
    hole = plan.hole
    size = f"{hole.length_mm:.0f}"
    if hole.shape != "round":
        size += f" x {hole.width_mm:.0f}"
    sides = "one side" if plan.sides == 1 else "both sides"
    return _wrapped(
        f"{hole.shape} hole of {size} mm in {plan.thickness_mm:g} mm of laminate on {plan.substrate}: "
        f"scarf {plan.scarf_ratio:g} to 1 from {sides}, {plan.scarf_mm:.0f} mm each way"
    )


def added(plan: LayupDocument) -> str:
    """What is mixed into the resin."""
    return "peroxide" if plan.hardener_g is None else "hardener"


def takes(plan: LayupDocument, wording: Wording) -> list[str]:
    """What to have on the bench."""
    cloth, say, what = plan.cloth, wording.stated, added(plan)
    mass, volume = (
        (plan.peroxide_g, plan.peroxide_ml) if what == "peroxide" else (plan.hardener_g, plan.hardener_ml)
    )
    parts = f"resin {say(plan.resin_g, 'g')} ({say(plan.resin_ml, 'ml')}), "
    parts += f"{what} {say(mass, 'g')} ({say(volume, 'ml')})"
    layers = f"{len(plan.layers)} layers of {cloth.title}, {say(cloth.areal_mass_g_per_m2, 'g/m2')}"
    ground = f"ground area {plan.ground_area_m2:.3f} m²"
    return [
        "What it takes",
        *_wrapped(f"{layers}, {plan.layer_thickness_mm:.2f} mm each when cured"),
        f"  cloth {cloth.area_m2:.3f} m², {say(cloth.mass_g, 'g')}; {ground}",
        f"  mixed {plan.resin} {say(plan.mixed_g, 'g')}, with {plan.waste_percent:.0f} % waste",
        f"  {parts}",
    ]


def _mixing(plan: LayupDocument, wording: Wording) -> list[str]:
    ratio, step = plan.ratio, wording.weighed(kilogram_from_gram(plan.scale_step_g))
    allowed = f"allowed {ratio.lowest_per_100:.1f} to {ratio.highest_per_100:.1f}"
    return [
        f"  by mass: {ratio.text}; {allowed}",
        *_wrapped(f"({spoken(ratio.tag)}: {ratio.source})"),
        f"  smallest batch on a scale of {step} steps: {wording.stated(plan.smallest_batch_g, 'g')}",
    ]


def _sessions(plan: LayupDocument, wording: Wording) -> Iterator[str]:
    made = plan.schedule
    if made is None:
        return
    yield ""
    peak = made.peak_temperature_c
    heat = "" if peak is None else f", they then reach {wording.stated(peak, 'degC')}"
    yield f"Sessions (at most {made.layers_in_one_go} layers in one go{heat})"
    for number, session in enumerate(made.sessions, start=1):
        yield from session_lines(plan, number, session, wording)
    if made.left_over:
        which = f"layer{_numbers(made.left_over)} find{'s' if len(made.left_over) == 1 else ''}"
        yield f"  left over: {which} no start in the coming 48 hours"
    yield from _wrapped(f"The coming hours: {made.basis}")


def _numbers(numbers: list[int]) -> str:
    """Behind ``layer``: `` 3``, or ``s 3 to 5``."""
    first, last = numbers[0], numbers[-1]
    return f" {first}" if first == last else f"s {first} to {last}"


def session_lines(
    plan: LayupDocument, number: int, session: LayupSessionDocument, wording: Wording
) -> Iterator[str]:
    """One session: when, what, how it bonds, what to weigh."""
    now, say = moment(plan.at), wording.stated
    which = f"layer{_numbers(session.layers)}, {session.side}"
    yield from _wrapped(f"{number}. {when(session, wording, now)}: {which}; bond {session.bond_text}")
    if session.batches is None:
        slower = "a slower hardener" if added(plan) == "hardener" else "less peroxide"
        yield f"     no batch lasts until it is spread: {slower}, a cooler shed or more hands"
        return
    batch = say(session.batch_mass_g, "g")
    bears = f"({say(session.scale_lowest_g, 'g')} to {say(session.scale_highest_g, 'g')})"
    resin = f"{say(session.resin_g, 'g')} resin, then {added(plan)} until {batch} {bears}"
    yield f"     {session.batches} x {batch}: {resin}"
    use, kicks = (say(each, "min") for each in (session.use_within_min, session.pot_life_min))
    yield f"     each spread within {use}; left in its cup it kicks after {kicks}"
    if session.too_small_for_scale:
        yield "     too small a batch for this scale: use a finer one"
    if session.bond != "mechanical" and session.next_from and session.next_before:
        yield (
            f"     next layer from {wording.moment(moment(session.next_from), now)}, "
            f"before {wording.moment(moment(session.next_before), now)}"
        )
        yield from [f"     {session.remark}"] if session.remark else []


def minded(plan: LayupDocument, wording: Wording) -> tuple[str, ...]:
    """The cautions, in the reader's units; they stand before the steps they protect."""
    return tuple(wording.retold(caution) for caution in plan.cautions)


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return wrap(safe_line(text), WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
