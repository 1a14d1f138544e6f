"""Load sheets: made of the decoding, written on by people, never losing what was there before."""

from collections.abc import Mapping, Sequence

from sqlalchemy import select
from sqlmodel import col

from server.catalog import changes, events, images, load_copies, named
from server.catalog.errors import Invalid, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.held import known
from server.catalog.key_in import Cell, cells_of
from server.catalog.load_practice import practice_for
from server.catalog.load_sheet_texts import made_of
from server.catalog.load_sheet_values import (
    FIELDS,
    NOTATION,
    NewTexts,
    SheetOf,
    SheetRecord,
    SheetRevision,
)
from server.catalog.load_subject import Subject, subject_of
from server.catalog.text_changes import TextChange, change_of
from server.catalog.work import Role, Work
from server.store.load_sheets import LoadSheet, LoadSheetText
from server.store.programs import Program
from server.tape.cpu.notation import Notation
from server.tape.machine_notation import Writing, writing_of

Texts = Mapping[str, str]


def get(work: Work, of: SheetOf) -> SheetRecord:
    """The sheet of a version or of an image, as it stands.

    Raises:
        NotFound: there is no such version, or the image is not held.
    """
    return _Sheet(work, of).record()


def put(work: Work, of: SheetOf, new: NewTexts, revision: int | None = None) -> SheetRecord:
    """Write the sheet anew, if it is still at `revision`; what it said before is kept.

    Raises:
        NotFound: there is no such version, or the image is not held.
        Conflict: somebody else wrote on it meanwhile.
        Invalid: a line of the bootstrap is none.
    """
    work.actor.require(Role.VOLUNTEER)
    sheet = _Sheet(work, of, to_change=True)
    sheet.write(new.texts, new.note, revision)
    return sheet.record()


def go_back(work: Work, of: SheetOf, to: int, revision: int | None = None) -> SheetRecord:
    """Let the sheet say again what it said at revision `to`; that makes a revision of its own.

    Raises:
        NotFound: there is no such sheet, or it never had that revision.
        Conflict: somebody else wrote on it meanwhile.
    """
    work.actor.require(Role.VOLUNTEER)
    sheet = _Sheet(work, of, to_change=True)
    sheet.write(sheet.texts_at(to), f"as in revision {to}", revision)
    return sheet.record()


def history(work: Work, of: SheetOf) -> tuple[SheetRevision, ...]:
    """Every revision of the sheet, newest first, each with what it changed.

    Raises:
        NotFound: there is no such version, or the image is not held.
    """
    return _Sheet(work, of).history()


class _Sheet:
    """One sheet in one transaction."""

    def __init__(self, work: Work, of: SheetOf, *, to_change: bool = False) -> None:
        self._work, self._of = work, of
        self._subject = subject_of(work, of, to_change=to_change)
        self._row = self._row_of(self._subject)
        self._image = images.of_id(work, self._subject.image_id)
        # What was written while there was no version yet is where a version begins.
        before = self._row_of(Subject(self._subject.image_id)) if self._subject.version else None
        self._begun = self._kept(before)

    def record(self) -> SheetRecord:
        """The sheet as it stands."""
        newest = self._newest(self._row)
        written = {**self._begun, **(newest.texts if newest else {})}
        program, version = self._subject.program, self._subject.version
        writing = self._writing(written)
        texts = {**made_of(self._image, writing), **_without_notation(written)}
        copies, more = load_copies.of(self._work, self._image.content_sha256)
        return SheetRecord(
            of=self._of,
            title=program.title if program else self._image.title,
            label=version.label if version else None,
            machine=_machine(program) if program else "",
            image=self._image,
            writing=writing,
            copies=copies,
            more_copies=more,
            keyed_in=practice_for(self._image.loader, self._image.format).key_in,
            cells=_cells_if_any(texts["bootstrap"], writing),
            texts=texts,
            written=frozenset(written) - {NOTATION},
            notation=Notation(written[NOTATION]) if NOTATION in written else None,
            revision=self._row.revision if self._row else 1,
            changed=newest.made_at if newest else None,
            by=named.told_of(self._work, newest.made_by_id) if newest else "",
        )

    def write(self, texts: Texts, note: str, revision: int | None) -> None:
        """Keep `texts` as the next revision; nothing where they are what it says already."""
        row = self._row or LoadSheet(
            version_id=self._subject.version.id if self._subject.version else None,
            image_id=None if self._subject.version else self._subject.image_id,
            updated_at=self._work.now,
        )
        changes.require_revision(row, revision, "The load sheet")
        kept = self._own(texts)
        before = self._kept(self._row)
        if kept == before:
            return
        row.revision += 1
        row.updated_at = self._work.now
        self._work.session.add(row)
        self._work.session.flush()
        self._work.session.add(
            LoadSheetText(
                sheet_id=known(row.id),
                revision=row.revision,
                texts=kept,
                note=note,
                made_at=self._work.now,
                made_by_id=self._work.actor.person_id,
            )
        )
        self._work.session.flush()
        self._row = row
        self._log(before, kept, row.revision)

    def texts_at(self, revision: int) -> Texts:
        """What was written at a revision; revision 1 has nothing of its own.

        Raises:
            NotFound: the sheet never had that revision.
        """
        found = {each.revision: each.texts for each in self._texts(self._row)}
        if revision != 1 and revision not in found:
            raise NotFound(
                f"The load sheet never had a revision {revision}.",
                where=str(revision),
                mend="Look at its history.",
            )
        return {**self._begun, **found.get(revision, {})}

    def history(self) -> tuple[SheetRevision, ...]:
        """Every revision, newest first, the one made of the decoding at the end."""
        rows = self._texts(self._row)
        first = SheetRevision(1, "", None, "", self._whole({}))
        told = [first]
        for row in rows:
            texts = self._whole(row.texts)
            told.append(
                SheetRevision(
                    row.revision,
                    named.told_of(self._work, row.made_by_id),
                    row.made_at,
                    row.note,
                    texts,
                    tuple(_changes(told[-1].texts, texts)),
                )
            )
        return tuple(reversed(told))

    def _own(self, texts: Texts) -> dict[str, str]:
        """Those of `texts` that say something else than the sheet would by itself.

        Raises:
            Invalid: a line of the bootstrap is none.
        """
        writing = self._writing(texts)
        cells_of(texts.get("bootstrap", ""), writing)
        # Texts sent back untouched name addresses in the notation that the sheet had until now.
        until_now = self._writing({**self._begun, **self._kept(self._row)})
        by_itself = [{**made_of(self._image, each), **self._begun} for each in (writing, until_now)]
        return {
            name: text
            for name, text in texts.items()
            if all(each.get(name) != text for each in by_itself)
        }

    def _whole(self, texts: Texts) -> Texts:
        """All that a revision said, what was made of the decoding then as it is made now."""
        written = {**self._begun, **texts}
        usual = {NOTATION: "", **made_of(self._image, self._writing(written))}
        return {**usual, **written}

    def _writing(self, texts: Texts) -> Writing:
        program = self._subject.program
        processor = self._image.processor.processor if self._image.processor else None
        machine = program.machine if program else ""
        return writing_of(self._image.format, processor, machine, texts.get(NOTATION, ""))

    def _row_of(self, subject: Subject) -> LoadSheet | None:
        version, image = col(LoadSheet.version_id), col(LoadSheet.image_id)
        is_its_own = version == subject.version.id if subject.version else image == subject.image_id
        return self._work.session.scalar(select(LoadSheet).where(is_its_own))

    def _texts(self, row: LoadSheet | None) -> Sequence[LoadSheetText]:
        if row is None:
            return ()
        return self._work.session.scalars(
            select(LoadSheetText)
            .where(col(LoadSheetText.sheet_id) == row.id)
            .order_by(col(LoadSheetText.revision))
        ).all()

    def _newest(self, row: LoadSheet | None) -> LoadSheetText | None:
        if row is None:
            return None
        return self._work.session.get(LoadSheetText, (row.id, row.revision))

    def _kept(self, row: LoadSheet | None) -> dict[str, str]:
        newest = self._newest(row)
        return dict(newest.texts) if newest else {}

    def _log(self, before: Texts, after: Texts, revision: int) -> None:
        version = self._subject.version
        events.record(
            self._work,
            EventType.MODIFICATION,
            ObjectKind.PROGRAM if version else ObjectKind.IMAGE,
            version.program_id if version else self._image.sha256,
            detail=f"load sheet{f' of version {version.label}' if version else ''} changed",
            facts={"before": dict(before), "after": dict(after), "revision": revision},
        )


def _without_notation(texts: Texts) -> Texts:
    return {name: text for name, text in texts.items() if name != NOTATION}


def _cells_if_any(text: str, writing: Writing) -> tuple[Cell, ...] | None:
    """The cells; None where the notation of the sheet has changed since they were written."""
    try:
        return cells_of(text, writing)
    except Invalid:
        return None


def _changes(before: Texts, after: Texts) -> Sequence[TextChange]:
    """The texts that differ, line by line."""
    return [
        change_of(name, before[name], after[name]) for name in FIELDS if before[name] != after[name]
    ]


def _machine(program: Program) -> str:
    """What the program wants to run on: the class of machine, its memory, and what hangs on it."""
    return ", ".join(filter(None, (program.machine, program.memory, *program.peripherals)))
