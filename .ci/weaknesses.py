"""What a list of known weaknesses says of the libraries: ``python .ci/weaknesses.py AUDIT.json``.

Exits with 1 where a library that the program itself brings has one that a newer version mends.
"""

import json
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from tests.licences import asked, brought


def main() -> None:
    """Print each weakness; fail on those that concern a user and are mended."""
    place = Path(sys.argv[1])
    told = json.loads(place.read_text()).get("dependencies", []) if place.exists() else []
    answered = [one for one in told if "skip_reason" not in one]
    own = {name for requirements in asked().values() for name in brought(requirements)}
    weak = [(one["name"], found) for one in answered for found in one["vulns"]]
    for name, found in weak:
        whose = "the program's" if name in own else "of the tests"
        mended = ", ".join(found["fix_versions"]) or "no version yet"
        print(f"{name} ({whose}): {found['id']}, mended in {mended}")
    print(f"{len(answered)} of {len(told)} libraries answered for, {len(weak)} weaknesses")
    if any(name in own and found["fix_versions"] for name, found in weak):
        sys.exit("raise the version that pyproject.toml asks for")


if __name__ == "__main__":
    main()
