"""A layer is begun or closed: what its batches, its job and the configuration say where nobody did."""

from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace

from curewatch.advice.judge.ground import Ground
from curewatch.configuration import Configuration
from curewatch.errors import UsageError
from curewatch.jobs import Layer, layer_as_plain, part_of
from curewatch.logbook import Entry, EntryKind, LogbookStore, StoredEntry
from curewatch.materials import DoseOutOfRange, Resin, load_resin
from curewatch.materials.cloth import cloth_from_words
from curewatch.model.mass.buildup import THICKEST, THINNEST
from curewatch.shed import layer_log
from curewatch.shed.consult import ground
from curewatch.shed.open_job import as_opened
from curewatch.worklog import telling
from curewatch.worklog.job import Job
from curewatch.worklog.telling import Mixed

FURTHER = ("batches", "layers", "cloth", "orientation", "cloth_lot", "fibre_share", "by")  # kept as told


def before(job: Job | None) -> dict[str, Any]:
    """What a new layer starts from: the last one's part, cloth, layers and person, and unused batches."""
    if job is None:
        return {}
    last = job.last(EntryKind.LAYER)
    found = {key: last.payload.get(key) for key in ("part", "layers", "cloth", "by")} if last else {}
    found["part"] = found.get("part") or part_of(job.title)
    found["by"] = found.get("by") or job.opened.payload.get("by")
    return found | {"batches": telling.unused_batches(job) or None}


def layer_of_batches(job: Job | None, named: list[str] | None) -> Mixed | None:
    """What the named batches say; UsageError where one is named and no job is open, or it is not there."""
    if not named:
        return None
    if job is None:
        raise UsageError("--batch: found no open job. Use `curewatch job open`, then `curewatch job batch`")
    return telling.batches(job, named)


def layer(
    configuration: Configuration,
    logbook: LogbookStore,
    told: Mapping[str, Any],
    *,
    job: Job | None,
    mixed: Mixed | None,
    started: float,
) -> Layer:
    """The layer as told; where nothing was said what its batches, its job or the configuration say.

    Raises
    ------
    UsageError, DoseOutOfRange
        Another resin than that of its batches, or a dose that this resin does not bear.
    """
    usual = configuration.resin
    if mixed is not None and mixed.resin and told.get("resin") not in {None, mixed.resin}:
        raise UsageError(
            f"--resin: found {told['resin']!r}, but the batches are of {mixed.resin}. Leave it out"
        )
    jobs = job.opened.payload.get("resin") if job else None
    name = told.get("resin") or (mixed and mixed.resin) or jobs or usual.name
    resin = load_resin(name, usual.folder)
    same_resin = name == usual.name
    dose = told.get("peroxide_percent") or (mixed and mixed.peroxide_percent(resin))
    if not dose and same_resin:
        dose = resin.configured_dose(usual.peroxide_percent, configuration.file)
    if mixed is not None:
        mixed.bears("--mass", told.get("batch_mass"))
        mixed.bears("--probe-mass", told.get("probe_mass"))
    usual_mass = mixed.mass if mixed else usual.batch_mass_g and usual.batch_mass_g / 1000
    part = told.get("part") or before(job).get("part") or ""
    below = _below(configuration, job, part, told)
    return Layer(
        layer=layer_log.next_name(logbook),
        started=started,
        resin=name,
        batch_mass=told.get("batch_mass") or usual_mass,
        **_build(configuration, told, job, resin),
        peroxide_percent=_peroxide(dose, resin),
        peroxide_assumed=resin.dose_used(dose).peroxide_assumed,
        job=job.name if job else None,
        part=part,
        lot=told.get("lot") or (mixed and mixed.lot) or (usual.lot if same_resin else None),
        face=below.face.value,
        face_own=below.own,
        moisture=below.moisture,
        **_thermometers(configuration, told, mixed, told.get("batch_mass") or usual_mass),
        note=told.get("note", ""),
    )


def _thermometers(
    configuration: Configuration, told: Mapping[str, Any], mixed: telling.Mixed | None, poured: float | None
) -> dict[str, Any]:
    """The sensor in the layer, that in a cup of its mix, and how much is in that cup. [kg]"""
    name = telling.probe(configuration, told.get("probe"), "layer", "cup")
    in_cup = configuration.role_of(name) == "cup" if name else False
    of_batch, mass = (mixed.probe, mixed.probe_mass) if mixed else ("", None)
    cup = name if in_cup else of_batch
    if cup != of_batch:
        mass = None
    mass = told.get("probe_mass") or mass
    if told.get("probe_mass") and not cup:
        raise UsageError("--probe-mass: found a mass, but no sensor in a cup. Use --probe NAME, too")
    if cup and mass is None and poured is None:
        raise UsageError(f"--probe: found {cup!r} in a cup whose mass nobody told. Use --probe-mass, too")
    return {"probe": "" if in_cup else name, "cup": cup, "cup_mass": mass}


def _below(configuration: Configuration, job: Job | None, part: str, told: Mapping[str, Any]) -> Ground:
    """What it is laid on: as told, the layer of this part before it, or as configured."""
    earlier = [item.payload for item in job.of(EntryKind.LAYER)] if job else []
    same = [str(each.get("resin")) for each in earlier if (each.get("part") or "") == part]
    lain = same[-1] if same else None
    if job is not None:
        configuration = as_opened(configuration, job.opened.payload)
    return ground(configuration, told.get("face"), told.get("moisture"), lain)


def _build(
    configuration: Configuration, told: Mapping[str, Any], job: Job | None, resin: Resin
) -> dict[str, Any]:
    """How thick it is and what it lies on: its cloth, else the usual wet layer; the job's substrate."""
    opened, shed = job.opened.payload if job else {}, configuration.shed
    found = laminate(configuration, told, resin)
    if shed.insulated_back:
        found["insulated"] = True
    if opened.get("substrate"):
        return found | {"substrate": opened["substrate"], "substrate_thickness": opened.get("thickness")}
    usual = None if shed.thickness_mm is None else shed.thickness_mm / 1000
    return found | {"substrate": shed.substrate, "substrate_thickness": usual}


def laminate(configuration: Configuration, told: Mapping[str, Any], resin: Resin) -> dict[str, Any]:
    """Thickness [m] and fibre [1] of so many layers of this cloth, with the share of fibre that was told.

    Raises
    ------
    UsageError
        Nobody could lay so much at once.
    """
    layers, share = int(told.get("layers") or 1), told.get("fibre_share")
    cloth = cloth_from_words(str(told.get("cloth") or ""))
    thickness = configuration.resin.film_mm / 1000
    if cloth is not None:
        cloth = replace(cloth, fibre_mass_fraction=share or cloth.fibre_mass_fraction)
        thickness, share = cloth.thickness(resin.thermal.density), cloth.fibre_mass_fraction
    _require_thickness(layers * thickness, layers)
    return {"thickness": layers * thickness, "fibre": share}


def _require_thickness(thickness: float, layers: int) -> None:
    """Raise UsageError where nobody could lay so much at once, before anything is kept."""
    if not THINNEST <= thickness <= THICKEST:
        found = f"found {layers}, together {1000 * thickness:.3g} mm"
        raise UsageError(f"--layers: {found}. Use {1000 * THINNEST:g} to {1000 * THICKEST:g} mm at once")


def _peroxide(given: float | None, resin: Resin) -> float | None:
    """The dose, checked against the resin's own range; the normal one where nothing is said."""
    dose = resin.dose
    if dose is None:
        if given is not None:
            raise UsageError(
                f"--peroxide: {resin.name} is {resin.chemistry.name}, which keeps its mix ratio. Leave it out"
            )
        return None
    if given is None:
        return dose.peroxide_normal
    if not dose.peroxide_low <= given <= dose.peroxide_high:
        raise DoseOutOfRange("peroxide", given, (dose.peroxide_low, dose.peroxide_high), resin.name)
    return given


def begin(
    logbook: LogbookStore,
    begun: Layer,
    told: Mapping[str, Any],
    now: float,
    *,
    afterwards: bool,
    key: str | None = None,
) -> StoredEntry:
    """Write it down."""
    further = {key: told[key] for key in FURTHER if key in told}
    payload = layer_as_plain(replace(begun, given_afterwards=afterwards)) | further
    return logbook.write(Entry(EntryKind.LAYER, payload, begun.started, job=begun.job, key=key, recorded=now))


def close(logbook: LogbookStore, name: str, told: Mapping[str, Any], at: float, now: float) -> StoredEntry:
    """A running layer is done with; UsageError where none of this name is, or it began after that."""
    running = {each.layer: each for each in layer_log.running(logbook, now)}
    found = running.get(name.upper())
    if found is None:
        there = f"running: {', '.join(running)}" if running else "none is running"
        raise UsageError(f"--close: found no running layer {name!r}; {there}")
    if at < found.started:
        raise UsageError(f"{found.layer} began after that. Use a later --at, or none")
    said = {"text": told.get("note"), "by": told.get("by"), "given_afterwards": at != now or None}
    payload = {"layer": found.layer, "at": at} | {key: value for key, value in said.items() if value}
    return logbook.write(Entry(EntryKind.LAYER_CLOSED, payload, at, job=found.job, recorded=now))
