"""What a daemon must know of its configuration before it starts, without the model behind it."""

from collections.abc import Iterable

from msgspec.structs import asdict

from curewatch.advice.judge.limits import for_resin
from curewatch.configuration import Configuration
from curewatch.errors import ConfigurationError, UsageError
from curewatch.logbook import Entry
from curewatch.materials import load_resin, resin_names
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.materials.substrate import load_substrate


def check_names(configuration: Configuration) -> None:
    """Every name in the configuration that stands for something of ours is known.

    Raises
    ------
    ConfigurationError
        Names the file, the key and the first name that is not.
    """
    name, shelf, shed = "", configuration.resin, configuration.shed
    try:
        load_substrate(shed.substrate, None if shed.thickness_mm is None else shed.thickness_mm / 1000)
        there = [load_resin(resin, shelf.folder) for resin in (shelf.name, *shelf.also)]
        there[0].configured_dose(shelf.peroxide_percent)
        for resin in there:
            for_resin(resin, own_limits(configuration), configuration.limits.rules)
        check_shelf(configuration, [*(each.name for each in there), *resin_names(shelf.folder)])
        for name, sensor in configuration.sensors.items():  # noqa: B007 - named in the error below
            load_sensor_part(sensor.part)
    except ConfigurationError as trouble:
        key = f"sensors.{name}.part" if trouble.key == "part" else trouble.key
        raise ConfigurationError(
            trouble.found,
            trouble.allowed,
            file=trouble.file or configuration.file,
            line=trouble.line,
            key=key,
        ) from trouble
    except UsageError as trouble:
        raise ConfigurationError(str(trouble), "a name that is known", file=configuration.file) from trouble


def check_shelf(configuration: Configuration, known: Iterable[str]) -> None:
    """Every price and every tin is of a resin that there is: a slip would leave that resin without it.

    Raises
    ------
    ConfigurationError
        Names the file, the key and the first resin that is not known.
    """
    known = list(dict.fromkeys(known))
    told = {"resin.price": list(configuration.resin.price), "stock": list(configuration.stock)}
    for table, names in told.items():
        strange = next((name for name in names if name not in known), None)
        if strange is not None:
            raise ConfigurationError(
                f"{strange!r}, which is no resin here",
                f"one of {', '.join(known)}",
                file=configuration.file,
                key=f"{table}.{strange}",
            )


def configuration_entry(configuration: Configuration, now: float) -> Entry:
    """What the daemon went by from this moment on, for the record."""
    shed = configuration.shed
    payload = {
        "shed": {
            "name": shed.name,
            "boat": shed.boat,
            "zone": shed.zone,
            "substrate": shed.substrate,
            "thickness": None if shed.thickness_mm is None else shed.thickness_mm / 1000,
            "carbon_dioxide": shed.carbon_dioxide_ppm * 1e-6,
        },
        "sensors": {
            name: {"role": sensor.role, "part": sensor.part} for name, sensor in configuration.sensors.items()
        },
        "limits": {"rules": configuration.limits.rules, **own_limits(configuration)},
        "resin": configuration.resin.name,
    }
    return Entry("configuration", payload, now)


def own_limits(configuration: Configuration) -> dict[str, float]:
    """The limits that the user set, by key."""
    given = asdict(configuration.limits)
    return {key: float(value) for key, value in given.items() if key != "rules" and value is not None}
