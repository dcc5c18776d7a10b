"""A photograph's thumbnail is its pixels: no place, camera, comment or profile; the file's hash is kept."""

import base64
import io
from hashlib import sha256
from pathlib import Path

import pytest
from PIL import Image

from curewatch.record import page_work
from curewatch.worklog import photo

SECRET = b"51 30 N taken by the owner"


def marked(form: str) -> bytes:
    """A picture with metadata of every kind that its form can carry."""
    picture, out = Image.effect_noise((640, 480), 40).convert("RGB"), io.BytesIO()
    exif = Image.Exif()
    exif[0x010E], exif[0x0112] = SECRET.decode(), 6
    more = {"comment": SECRET} if form == "JPEG" else {}
    picture.save(out, form, exif=exif, icc_profile=SECRET * 20, dpi=(300, 300), **more)
    assert SECRET in out.getvalue() or form == "PNG"
    return out.getvalue()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.few(2)
def test_a_thumbnail_has_no_metadata(tmp_path: Path, form: str):
    """Of the entry and, packed anew, of the page; it stands upright and the original's hash is kept."""
    content = marked(form)
    (tmp_path / "photo").write_bytes(content)
    told = photo.payload(tmp_path / "photo")
    assert told["sha256"] == sha256(content).hexdigest()
    small = base64.b64decode(told["thumbnail"])
    for each in (small, page_work._thumbnail(told["thumbnail"]) or b""):
        assert SECRET not in each
        with Image.open(io.BytesIO(each)) as found:
            assert set(found.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
            assert not found.getexif()
            assert found.size[1] > found.size[0]  # turned as the camera was held


def test_a_comment_in_a_foreign_thumbnail_stays_out_of_the_page():
    """An entry from elsewhere: its JPEG has a comment. Packed anew by the picture alone it would stay."""
    out = io.BytesIO()
    Image.new("RGB", (100, 80)).save(out, "JPEG", comment=SECRET)
    assert SECRET in out.getvalue()
    assert SECRET not in (page_work._thumbnail(base64.b64encode(out.getvalue()).decode()) or SECRET)
    again = io.BytesIO()
    Image.open(io.BytesIO(out.getvalue())).save(again, "JPEG")  # the control
    assert SECRET in again.getvalue()
