"""A photograph by file: what proves that a file is the one that was meant, and a small picture of it.

The file stays where it is. The logbook keeps its name, its size, its SHA-256 and a thumbnail.
"""

import base64
import io
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curewatch.errors import UsageError, reason

if TYPE_CHECKING:
    from PIL import Image

LARGEST = 64 * 1024 * 1024  # bytes read into memory
LARGEST_PICTURE = 100_000_000  # pixels of a JPEG, which is unpacked at an eighth of its size
LARGEST_UNPACKED = 96 * 1024 * 1024  # bytes of any other picture, unpacked: a small file can hold gigabytes
THUMBNAIL = (320, 240)  # pixels at most


def payload(file: Path) -> dict[str, Any]:
    """What an entry keeps of a photograph.

    Raises
    ------
    UsageError
        It cannot be read, is too large, or is not a picture.
    """
    try:
        size = file.stat().st_size
        if size > LARGEST:
            raise UsageError(f"{file}: found {size:,} bytes. Use a picture of at most {LARGEST:,}")
        content = file.read_bytes()
    except OSError as trouble:
        raise UsageError(f"{file} cannot be read: {reason(trouble)}; give a photograph's file") from trouble
    width, height, small = _thumbnail(file, content)
    return {
        "file": file.name,
        "sha256": sha256(content).hexdigest(),
        "bytes": len(content),
        "width": width,
        "height": height,
        "thumbnail": base64.b64encode(small).decode("ascii"),
    }


def _most_pixels(picture: "Image.Image") -> int:
    """How many pixels this kind of picture may have."""
    if picture.format == "JPEG" and not picture.info.get("progressive"):
        return LARGEST_PICTURE
    return LARGEST_UNPACKED // max(4, 2 * len(picture.getbands()))


def _thumbnail(file: Path, content: bytes) -> tuple[int, int, bytes]:
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP", "TIFF")) as picture:
            width, height = picture.size
            most = _most_pixels(picture)
            if width * height > most:
                raise UsageError(f"{file}: found {width} x {height} pixels. Use at most {most:,} in all")
            picture.draft("RGB", (THUMBNAIL[0] * 2, THUMBNAIL[1] * 2))
            picture.thumbnail((THUMBNAIL[0] * 2, THUMBNAIL[1] * 2))
            upright = ImageOps.exif_transpose(picture).convert("RGB")
            upright.thumbnail(THUMBNAIL)
            small = io.BytesIO()
            bare = Image.frombytes("RGB", upright.size, upright.tobytes())  # the pixels and nothing else
            bare.save(small, "JPEG", quality=70)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as trouble:
        allowed = "JPEG, PNG, WebP and TIFF are read"
        raise UsageError(f"{file} is not a picture this program can read; {allowed}") from trouble
    except Image.DecompressionBombError as trouble:
        raise UsageError(f"{file} unpacks to too many pixels; make it smaller") from trouble
    return width, height, small.getvalue()
