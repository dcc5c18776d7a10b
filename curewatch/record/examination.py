"""A record as it lies on the disk: every file that is named or carried is checked, or it does not hold.

Law: what was checked is listed by its digest. A file that stands in the folder, or in the PDF, and that
no list and no signature covers is not passed over: somebody could show it as part of the record.
"""

from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path

from curewatch.errors import RecordBroken, UsageError, reason
from curewatch.record import paper, screen
from curewatch.record.attachments import attached
from curewatch.record.proof import FILES
from curewatch.record.verification import Holds, check_signed, public_key, verify_files

PAGES = ("record.pdf", "record.html")
LISTS = ("pages.sha256", "pages.sig")
LARGEST = 512 * 1024 * 1024  # bytes of one file that is read to be verified


def verify(path: Path, *, code: str | None = None, key: str | None = None) -> Holds:
    """Verify a record: a PDF, a folder, or the HTML page in its folder.

    Raises
    ------
    UsageError
        There is nothing of that name.
    RecordBroken
        Names the file, block or entry, what was expected and what was found.
    """
    if path.is_dir():
        return _verify_folder(path, code, key)
    if not path.is_file():
        raise UsageError(f"there is no file or folder {path}; name a record's PDF or folder")
    if path.suffix.lower() in {".html", ".htm"}:
        if not (path.parent / "files.sha256").is_file():
            raise UsageError(
                f"{path} is checked with the folder it was written in; keep it there, or name the PDF"
            )
        holds = _verify_folder(path.parent, code, key)
        if path.name not in holds.checked:
            raise _unchecked(path.name)
        return holds
    content = _read(path)
    if not content.startswith(b"%PDF-"):
        raise RecordBroken(path.name, "the PDF of a record", "something else")
    return verify_pdf(content, code=code, key=key, name=path.name)


def verify_pdf(
    content: bytes, *, code: str | None = None, key: str | None = None, name: str = "record.pdf"
) -> Holds:
    """Verify one PDF: the files inside, then the file as a whole."""
    files = attached(content, FILES)
    holds = verify_files(files, code=code, key=key)
    _check_pdf(content, holds, files, name)
    return holds._replace(checked={**holds.checked, name: sha256(content).hexdigest()})


def _check_pdf(content: bytes, holds: Holds, files: Mapping[str, bytes], name: str) -> None:
    """Signed as a whole with this key, laid out with these files, and saying what they give."""
    signed, signature = paper.unsigned(content, name)
    check_signed(signed, signature, holds.seal.public_key, f"{name} as a whole")
    found, proof = paper.files_named(content), holds.checked["files.sha256"]
    if found != {proof}:
        raise RecordBroken(name, f"the pages of the files with digest {proof}", ", ".join(found) or "none")
    if paper.laid_out(holds.pages, files) != signed:
        raise RecordBroken(
            name, "the pages that readings and entries give, laid out by this typst", "other pages"
        )


def _verify_folder(folder: Path, code: str | None, key: str | None) -> Holds:
    carried = sorted(path.name for path in folder.iterdir())
    if not set(carried) & set(FILES):
        raise RecordBroken(folder.name, "the files of a record in it", "none of them")
    files = {name: _read(folder / name) for name in FILES if name in carried}
    holds = verify_files(files, code=code, key=key)
    pages = {name: _read(folder / name) for name in carried if name not in (*FILES, *LISTS)}
    listed = _listed_pages(folder, files)
    for name, content in pages.items():
        if listed.get(name) not in (None, sha256(content).hexdigest()):
            raise RecordBroken(name, f"digest {listed[name]}", f"digest {sha256(content).hexdigest()}")
        if content.startswith(b"%PDF-"):
            own = attached(content, FILES)
            if own != files:
                raise RecordBroken(name, "the same files inside as beside it", "others")
            _check_pdf(content, holds, files, name)
        elif name not in listed:
            raise _unchecked(name)
        elif content != screen.html(holds.pages).encode():
            raise RecordBroken(name, "the pages that readings and entries give", "other pages")
    digests = {name: sha256(content).hexdigest() for name, content in pages.items()}
    return holds._replace(checked={**holds.checked, **digests})


def _unchecked(name: str) -> RecordBroken:
    return RecordBroken(name, "a file that the record lists and signs", "one that cannot be checked")


def _listed_pages(folder: Path, files: Mapping[str, bytes]) -> dict[str, str]:
    """The digests of the pages by their names; none where only the files that prove were put."""
    if not any((folder / name).exists() for name in LISTS):
        return {}
    told = _read(folder / "pages.sha256")
    check_signed(told, _read(folder / "pages.sig"), public_key(files["key.pem"]), "pages.sha256")
    rows = [line.partition("  ") for line in told.decode("ascii", errors="replace").splitlines()]
    listed = {name: digest for digest, _, name in rows}
    if (
        set(listed) - {*PAGES, "files.sha256"}
        or listed.get("files.sha256") != sha256(files["files.sha256"]).hexdigest()
    ):
        raise RecordBroken("pages.sha256", "the pages of these files", "pages of other files")
    return listed


def _read(path: Path) -> bytes:
    try:
        if path.is_symlink() or not path.is_file():
            raise RecordBroken(path.name, "a file of the record", "none, or something else")
        if path.stat().st_size > LARGEST:
            raise RecordBroken(
                path.name, f"a file of at most {LARGEST} bytes", f"{path.stat().st_size} bytes"
            )
        return path.read_bytes()
    except OSError as trouble:
        raise RecordBroken(path.name, "a file that can be read", reason(trouble)) from trouble
