"""The shape of every answer in JSON, one schema (draft 2020-12) a file, for whoever reads it with a program.

A command's answer has the file of its name, blanks as hyphens (``resin show`` -> ``resin-show.json``); some
share one. What is published on MQTT stands in ``mqtt-….json``. No key comes that its schema does not name.
"""

from importlib.resources import files

from curewatch.errors import UsageError

SHARED = {
    "ingest": "event",
    "replay": "event",
    "demo": "event",
    "mqtt advice": "tonight",
    **{
        f"job {word}": "job-entry"
        for word in ("open", "batch", "pot-empty", "peel-ply", "wash", "quality", "note", "photo", "correct")
    },
}


def names() -> list[str]:
    """Every document there is."""
    return sorted(file.name[:-5] for file in files(__name__).iterdir() if file.name.endswith(".json"))


def schema(command: str) -> str:
    """The schema of a command's answer, or of a document by its own name, as JSON text.

    Raises
    ------
    UsageError
        Nothing of this name answers in JSON; it lists what does.
    """
    name = SHARED.get(command, command.strip().replace(" ", "-"))
    if name not in names():
        raise UsageError(f"no schema of {command!r}; there are: {', '.join(names())}")
    return files(__name__).joinpath(f"{name}.json").read_text(encoding="utf-8")
