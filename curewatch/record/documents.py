"""What is answered of a record, as documents: where it was put, and what it proves."""

from curewatch.answers.logbook import key_change_documents
from curewatch.answers.record import DatedDocument, LeftOutDocument, RecordWholeDocument, RecordWriteDocument
from curewatch.clock import iso_utc
from curewatch.logbook.keys import fingerprint
from curewatch.record.verification import Holds
from curewatch.record.writing import Written


def record_write_document(job: str, written: Written) -> RecordWriteDocument:
    return RecordWriteDocument(
        job=job,
        pdf=None if written.pdf is None else str(written.pdf),
        folder=None if written.folder is None else str(written.folder),
        seal_code=written.seal.code,
        seal_digest=written.seal.digest,
        public_key=written.seal.public_key,
        undated=written.undated or None,
        readings=written.readings,
        entries=written.entries,
    )


def record_whole_document(
    holds: Holds, *, code_given: bool, key_given: bool, authority_given: bool = False
) -> RecordWholeDocument:
    """What a record proves, and whether that was held against a code or a key from elsewhere."""
    return RecordWholeDocument(
        holds=True,
        seal_codes=list(holds.codes),
        code_given=code_given,
        key_given=key_given,
        public_key=holds.seal.public_key,
        fingerprint=fingerprint(holds.seal.public_key),
        key_changes=key_change_documents(holds.key_changes),
        dated=[
            DatedDocument(
                at=one.stamp.at,
                by=one.stamp.by,
                root=one.stamp.root,
                ends=one.stamp.ends,
                block=one.block,
                whole=one.whole,
            )
            for one in holds.dated
        ],
        authority_given=authority_given,
        sealed_at=holds.seal.at,
        blocks=[holds.first_block, holds.seal.block],
        readings=holds.readings,
        entries=holds.entries,
        entries_of_other_jobs=holds.left_out,
        checked=dict(holds.checked),
        left_out_blocks=[
            LeftOutDocument(
                blocks=[one.first, one.last],
                after=None if one.after is None else iso_utc(one.after),
                before=None if one.before is None else iso_utc(one.before),
            )
            for one in holds.left_out_blocks
        ],
    )
