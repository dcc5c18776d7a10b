"""A record as it lies on the disk: every file that is named or carried is checked, or it does not hold.

Law: what was checked is listed by its digest. A file that stands in the folder, or in the PDF, and that
no list and no signature covers is not passed over: somebody could show it as part of the record.
"""

from collections.abc import Mapping
from hashlib import sha256
from itertools import islice
from pathlib import Path

from curewatch.errors import RecordBroken, UsageError, reason
from curewatch.record import attachments, paper, screen
from curewatch.record.attachments import attached, packed
from curewatch.record.proof import FILES
from curewatch.record.verification import Holds, check_signed, examined, public_key, settled

PAGES = ("record.pdf", "record.html")
LISTS = ("pages.sha256", "pages.sig")
MOST_FILES = 64  # in a folder
LARGEST = attachments.LARGEST  # bytes of the files that prove, all together; and of the pages


def verify(
    path: Path, *, code: str | None = None, key: str | None = None, roots: bytes | None = None
) -> Holds:
    """Verify a record: a PDF, a folder, or the HTML page in its folder.

    Raises
    ------
    UsageError
        There is nothing of that name.
    RecordBroken
        Names the file, block or entry, what was expected and what was found.
    """
    try:
        folder, file = path.is_dir(), path.is_file()
    except OSError:  # a name that no disk has
        folder = file = False
    if folder:
        return _verify_folder(path, code, key, roots)
    if not file:
        raise UsageError(f"there is no file or folder {str(path)[:200]}; name a record's PDF or folder")
    if path.suffix.lower() in {".html", ".htm"}:
        if not (path.parent / "files.sha256").is_file():
            raise UsageError(
                f"{path} is checked with the folder it was written in; keep it there, or name the PDF"
            )
        holds = _verify_folder(path.parent, code, key, roots)
        if path.name not in holds.checked:
            raise _unchecked(path.name)
        return holds
    content = _read(path)
    if not content.startswith(b"%PDF-"):
        raise RecordBroken(path.name, "the PDF of a record", "something else")
    return verify_pdf(content, code=code, key=key, roots=roots, name=path.name)


def carried_files(path: Path) -> dict[str, bytes]:
    """The files that a PDF or a folder carries, not checked; of a HTML page, those beside it.

    Raises
    ------
    RecordBroken
        It is no record, or larger than is read.
    """
    if path.is_file() and path.suffix.lower() not in {".html", ".htm"}:
        return attached(_read(path), FILES)
    folder = path if path.is_dir() else path.parent
    files: dict[str, bytes] = {}
    for name in FILES:
        if (folder / name).exists():
            files[name] = _read(folder / name, LARGEST - sum(map(len, files.values())))
    return files


def verify_pdf(
    content: bytes,
    *,
    code: str | None = None,
    key: str | None = None,
    roots: bytes | None = None,
    name: str = "record.pdf",
) -> Holds:
    """Verify one PDF: the files inside, then the file as a whole."""
    files = attached(content, FILES)
    holds = examined(files, code=code, key=key, roots=roots)
    _check_pdf(content, holds, files, name)
    return settled(holds._replace(checked={**holds.checked, name: sha256(content).hexdigest()}))


def _check_pdf(content: bytes, holds: Holds, files: Mapping[str, bytes], name: str) -> None:
    """Signed as a whole with this key, laid out with these files, and saying what they give."""
    signed, signature = paper.unsigned(content, name)
    check_signed(signed, signature, holds.seal.public_key, f"{name} as a whole")
    found, proof = paper.files_named(content), holds.checked["files.sha256"]
    if found != {proof}:
        raise RecordBroken(name, f"the pages of the files with digest {proof}", ", ".join(found) or "none")
    if holds.pages is not None and paper.laid_out(holds.pages, files, packed(content, paper.LONG)) != signed:
        raise RecordBroken(
            name, "the pages that readings and entries give, laid out by this typst", "other pages"
        )


def _verify_folder(folder: Path, code: str | None, key: str | None, roots: bytes | None) -> Holds:
    carried = sorted(path.name for path in islice(folder.iterdir(), MOST_FILES + 1))
    if len(carried) > MOST_FILES:
        raise RecordBroken(folder.name or "the folder", f"at most {MOST_FILES} files", "more")
    if not set(carried) & set(FILES):
        raise RecordBroken(folder.name or "the folder", "the files of a record in it", "none of them")
    files = carried_files(folder)
    holds = examined(files, code=code, key=key, roots=roots)
    listed, digests = _listed_pages(folder, files), {}
    for name in (name for name in carried if name not in (*FILES, *LISTS)):
        content = _read(folder / name)
        digests[name] = sha256(content).hexdigest()
        if listed.get(name) not in (None, digests[name]):
            raise RecordBroken(name, f"digest {listed[name]}", f"digest {digests[name]}")
        if content.startswith(b"%PDF-"):
            own = attached(content, FILES)
            if own != files:
                raise RecordBroken(name, "the same files inside as beside it", "others")
            _check_pdf(content, holds, files, name)
        elif name not in listed:
            raise _unchecked(name)
        elif holds.pages is not None and content != screen.html(holds.pages).encode():
            raise RecordBroken(name, "the pages that readings and entries give", "other pages")
    return settled(holds._replace(checked={**holds.checked, **digests}))


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


def _read(path: Path, most: int = LARGEST) -> bytes:
    try:
        if path.is_symlink() or not path.is_file():
            raise RecordBroken(path.name, "a file of the record", "none, or something else")
        with path.open("rb") as file:
            content = file.read(most + 1)
    except OSError as trouble:
        raise RecordBroken(path.name, "a file that can be read", reason(trouble)) from trouble
    if len(content) > most:
        raise RecordBroken(path.name, f"a record of at most {LARGEST:,} bytes", "more")
    return content
