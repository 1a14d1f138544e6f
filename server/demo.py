"""The demonstration: the library of an invented club, loaded as its people would have done it."""

import tomllib
from typing import Any

from sqlalchemy import Engine, func, select

from server import demo_shelves
from server.catalog import (
    accession,
    condition,
    deaccession,
    families,
    invitations,
    links,
    load_sheets,
    merge_choice,
    merging,
    own_list,
    photos,
    preparing,
    program_merging,
    programs,
    published,
    punching,
    punching_start,
    read_backs,
    scopes,
    tapes,
    tokens,
    verification,
    vocabularies,
)
from server.catalog.accession import Upload
from server.catalog.condition_values import NewReport
from server.catalog.deaccession import NewDeaccession
from server.catalog.errors import Conflict
from server.catalog.family_values import Decided, NewDecision
from server.catalog.invitations import NewInvitation
from server.catalog.load_sheet_values import NewTexts, SheetOf
from server.catalog.merging_values import NewMerge
from server.catalog.photos import Sent
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_values import NewLink, NewProgram, NewVersion, VersionRecord
from server.catalog.punching_values import Punched, ReadBackFile
from server.catalog.queues import queue_of
from server.catalog.tape_values import NewTape, TapeChange
from server.catalog.terms import NewTerm, Vocabulary
from server.catalog.work import COMMAND, Role, Work, unit_of_work
from server.checkout import SEED_DATA
from server.settings import Settings
from server.store.images import ImageRow
from server.store.programs import Program
from server.store.tapes import Tape

READS, KEEPS = "odile", "aksel"
"""Who read the tapes and entered them, and who keeps programs and versions."""

LARGEST = 1_000_000
"""No image of the demonstration has more frames, and no photo more bytes."""

Entry = dict[str, Any]


def settings_for(database_url: str) -> Settings:
    """Settings for a demonstration on this machine, without TLS before it."""
    return Settings(database_url=database_url, demo=True, secure_cookies=False)


def load(engine: Engine) -> bool:
    """Load the library into a migrated, empty database; False where it was loaded before.

    All of it is one transaction, so that a library half loaded is never seen.

    Raises:
        Conflict: the database holds something else.
    """
    with unit_of_work(engine, COMMAND) as work:
        if published.are_here(work):
            return False
        _require_empty(work)
        published.create_accounts(work)
        _Loading(work).load(_library())
    return True


def _library() -> Entry:
    return tomllib.loads((SEED_DATA / "library.toml").read_text(encoding="utf-8"))


def _require_empty(work: Work) -> None:
    for table in (Tape, Program, ImageRow):
        if work.session.scalar(select(func.count()).select_from(table)):
            raise Conflict(
                "This database holds a library already, and it is not the demonstration.",
                where="demo",
                mend="Name another database, or leave out --database.",
            )


class _Loading:
    """One loading of the library: the ids that were given on the way, by the names it uses."""

    def __init__(self, work: Work) -> None:
        self._actors = published.actors(work)
        self._work = work
        self._programs: dict[str, int] = {}
        self._images: dict[str, str] = {}

    def load(self, library: Entry) -> None:
        """Enter everything, in the order in which it could have happened."""
        for each in library["word"]:
            new = NewTerm(word=each["word"], meaning=each["meaning"])
            vocabularies.add(self._as(KEEPS), Vocabulary(each["vocabulary"]), new)
        for program in library["program"]:
            self._add_program(program)
        for tape in library["tape"]:
            self._add_tape(tape)
        for each in library["merge"]:
            self._merge(each)
        for program in library["program"]:
            self._add_versions(program)
        self._join_programs(library)
        for proof in library["proof_reading"]:
            work = self._as(proof["by"])
            verification.proof_read(work, self._images[proof["image"]], proof["note"])
        for decision in library["decision"]:
            self._decide(decision)
        for report in library["report"]:
            self._log(report)
        self._settle_rights(library)
        for sheet in library["load_sheet"]:
            self._write_sheet(sheet)
        for each in library["punching"]:
            self._punch(each)
        demo_shelves.load(self._as, library, self._programs)
        for each in library["own_list"]:
            self._take_on(each)
        self._open_doors(library)

    def _open_doors(self, library: Entry) -> None:
        for each in library["invitation"]:
            self._invite(each)
        for each in library["token"]:
            allowed = scopes.of_words(each["scopes"])
            tokens.issue(self._as(each["by"]), each["label"], allowed=allowed)

    def _invite(self, entry: Entry) -> None:
        work = self._as(entry["by"])
        new = NewInvitation(role=Role(entry["role"]), note=entry["note"])
        invited = invitations.invite(work, new)
        if entry["withdrawn"]:
            invitations.withdraw(work, invited.record.id)

    def _settle_rights(self, library: Entry) -> None:
        """Say what may be shown of which tapes, and which left."""
        for each in library["rights"]:
            values = {name: value for name, value in each.items() if name not in ("by", "tapes")}
            for number in each["tapes"]:
                tapes.change(self._as(each["by"]), number, TapeChange.of(values))
        for each in library["deaccession"]:
            values = {name: each[name] for name in NewDeaccession.model_fields if name in each}
            deaccession.record(self._as(each["by"]), each["tape"], NewDeaccession.of(values))

    def _log(self, report: Entry) -> None:
        """A condition report, with its photos."""
        work = self._as(report["by"])
        values = {name: report[name] for name in NewReport.model_fields if name in report}
        logged = condition.log(work, NewReport.of(values))
        for photo in report.get("photos", ()):
            data = (SEED_DATA / "photos" / photo["file"]).read_bytes()
            taken = photos.rewritten([Sent(photo["file"], data)], LARGEST)
            photos.add(work, logged.tape, taken, photo["shows"], logged.id)

    def _join_programs(self, library: Entry) -> None:
        work = self._as(KEEPS)
        for each in library["link"]:
            other = self._programs[each["other"]]
            new = NewLink(kind=each["kind"], other=other, note=each["note"])
            links.add(work, self._programs[each["program"]], new)
        for each in library["twice"]:
            values = {name: each[name] for name in ("title", "description")}
            gone = programs.create(work, NewProgram.of(values))
            into = self._programs[each["into"]]
            program_merging.merge(work, gone.id, NewProgramMerge(into=into, note=each["note"]))

    def _take_on(self, entry: Entry) -> None:
        work = self._as(entry["by"])
        own_list.put_on(work, queue_of(entry["queue"]), entry["tape"], Settings().report_years)

    def _decide(self, decision: Entry) -> None:
        new = NewDecision(
            kind=Decided(decision["kind"]),
            other=self._images[decision["other"]],
            note=decision["note"],
        )
        families.decide(self._as(decision["by"]), self._images[decision["image"]], new)

    def _as(self, name: str) -> Work:
        return self._work.acting_as(self._actors[name])

    def _add_program(self, program: Entry) -> None:
        values = {name: program[name] for name in NewProgram.model_fields if name in program}
        self._programs[program["key"]] = programs.create(self._as(KEEPS), NewProgram.of(values)).id

    def _add_tape(self, tape: Entry) -> None:
        values = {name: value for name, value in tape.items() if name != "readings"}
        if "program" in values:
            values["program"] = self._programs[values["program"]]
        tapes.create(self._as(READS), NewTape.of(values))
        for reading in tape["readings"]:
            self._add_reading(tape["accession_number"], reading)

    def _add_reading(self, number: str, reading: Entry) -> None:
        upload = Upload(
            file_name=reading["image"],
            data=(SEED_DATA / "images" / reading["image"]).read_bytes(),
            tape=number,
            levels=reading.get("levels"),
            read_on=reading["read_on"],
            reader=reading["reader"],
        )
        examined = accession.examine(upload, len(upload.data))
        receipt = accession.accept(self._as(READS), examined)
        self._images[reading["image"]] = receipt.image.sha256

    def _merge(self, entry: Entry) -> None:
        work = self._as(entry["by"])
        readings = tuple(each.id for each in tapes.get(work, entry["tape"]).readings)
        chosen = merge_choice.choose(work, NewMerge(readings=readings), LARGEST)
        merging.keep(work, merging.work_out(chosen))

    def _add_versions(self, program: Entry) -> None:
        for version in program["version"]:
            new = NewVersion(
                label=version["label"],
                sha256=self._images[version["image"]],
                note=version["note"],
            )
            programs.add_version(self._as(KEEPS), self._programs[program["key"]], new)

    def _write_sheet(self, sheet: Entry) -> None:
        values = {name: sheet[name] for name in NewTexts.model_fields if name in sheet}
        load_sheets.put(self._as(sheet["by"]), self._sheet_of(sheet), NewTexts.of(values))

    def _sheet_of(self, sheet: Entry) -> SheetOf:
        if "image" in sheet:
            return SheetOf(sha256=self._images[sheet["image"]])
        return SheetOf(program=self._programs[sheet["program"]], version=self._version_of(sheet).id)

    def _version_of(self, entry: Entry) -> VersionRecord:
        """The version that an entry names by the key of its program and its label."""
        versions = programs.get(self._work, self._programs[entry["program"]]).versions
        return next(each for each in versions if each.label == entry["version"])

    def _punch(self, entry: Entry) -> None:
        work, version = self._as(entry["by"]), self._version_of(entry)
        how = preparing.of_words(entry["preparation"])
        prepared = preparing.prepare(work, version.sha256, how)
        for begun in punching_start.begin(work, version.sha256, how, prepared, version.id):
            punching.punched(work, begun.id, Punched.of(entry["punched"]))
            if "read_back" in entry:
                self._read_back(work, begun.id, entry["read_back"])

    def _read_back(self, work: Work, punching_id: int, entry: Entry) -> None:
        """Read a new tape back: from some frames into its leader to beyond its trailer."""
        frames = punching.frames(work, punching_id).frames
        file = ReadBackFile(
            file_name=f"read-back-{punching_id}.bin",
            data=frames[entry["late"] :] + bytes(entry["trailer"]),
            read_on=work.now.date(),
            reader=entry["reader"],
        )
        read_backs.settle(work, read_backs.compare(work, punching_id, file, LARGEST))
