"""Which edition of this program reckons: its version, and what of it can change a record."""

from functools import cache
from hashlib import sha256
from pathlib import Path

import curewatch


@cache
def edition() -> str:
    """The version and twelve digits of a digest of the program and its tables.

    Two builds of one version may reckon otherwise. A record names the one that wrote it, so that a page which
    another one does not give can be told from a page that was bent.
    """
    root = Path(curewatch.__file__).parent
    parts = sorted(path for kind in ("py", "toml") for path in root.rglob(f"*.{kind}"))
    named = (f"{path.relative_to(root).as_posix()}\0".encode() + path.read_bytes() for path in parts)
    digest = sha256(b"\0".join(named)).hexdigest()
    return f"{curewatch.__version__}+{digest[:12]}"
