"""Writes the texts, and with --anew the documents that they are rendered from."""

import json
import sys

from tests.texts.rendering import HERE, kept, rendered
from tests.texts.situations import SITUATIONS, answers


def write_documents() -> None:
    """Run every command in every situation, and keep what it answers."""
    folder = HERE / "documents"
    folder.mkdir(exist_ok=True)
    for name, situation in SITUATIONS.items():
        found = [each._asdict() for each in answers(situation)]
        lines = ",\n".join(json.dumps(each, ensure_ascii=False, separators=(",", ":")) for each in found)
        (folder / f"{name.replace(' ', '-')}.json").write_text(f"[\n{lines}\n]\n", encoding="utf-8")
        print(f"{name}: {len(found)} answers")


def write_texts() -> None:
    """Render what is kept."""
    folder = HERE / "rendered"
    folder.mkdir(exist_ok=True)
    texts = rendered(kept())
    for name, every in texts.items():
        (folder / f"{name}.txt").write_text("\n".join(every) + "\n", encoding="utf-8")
    print(f"{len(texts)} files, {sum(map(len, texts.values()))} texts")


if __name__ == "__main__":
    if "--anew" in sys.argv:
        write_documents()
    write_texts()
