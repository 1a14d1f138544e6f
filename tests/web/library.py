"""A small library for the tests of the pages: one of everything that a page can show."""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from server.catalog import (
    accession,
    condition,
    loans,
    people,
    place_records,
    programs,
    shelf_checks,
    tape_requests,
    tapes,
)
from server.catalog.accounts import create_person
from server.catalog.condition_values import Defect, NewReport
from server.catalog.defect_words import DefectKind
from server.catalog.loan_values import NewLoan
from server.catalog.program_values import NewVersion
from server.catalog.request_values import NewRequest
from server.catalog.tape_values import NewTape
from server.catalog.vocabulary import Condition, DefectSeverity, Hazard
from server.catalog.work import COMMAND, Role, unit_of_work
from server.settings import Settings
from server.store.engine import make_engine
from tests import factories, punched

PASSWORD = "eleven plum velvet anvils"
ROLES = (Role.VOLUNTEER, Role.ARCHIVIST, Role.ADMINISTRATOR)

KITES = [
    "10 REM KITES OVER THE QUARRY",
    '20 PRINT "HOW MUCH WIND";',
    "30 INPUT W",
    "40 LET H=W*12+INT(9*RND(1))",
    '50 PRINT "YOUR KITE CLIMBS TO";H;"FEET"',
    '60 IF H>200 THEN PRINT "<B>IT IS GONE</B> & LOST"',
    "70 END",
]
SEEDED = [KITES[0], '15 INPUT "A NUMBER";N', *KITES[1:]]
LONG = [f'{10 * number} PRINT "LINE {number} OF A LONG ROLL"' for number in range(1, 7501)]
HOSTILE = "<script>alert('kite')</script>"


@dataclass(frozen=True)
class Library:
    """Where the library is, a sign-in for each role, and the names of what it holds."""

    path: Path
    sessions: dict[Role, tuple[str, str]]
    kites: str
    seeded: str
    damaged: str
    hex: str
    loose: str
    long: str
    program: int
    report: int
    waiting: int
    differing: int
    copied: int
    copy: str
    place: int
    loan: int
    request: int
    check: int


def build(path: Path) -> Library:
    """Fill a migrated database."""
    engine = make_engine(Settings(database_url=f"sqlite:///{path}"))
    sessions = {role: _sign_in(engine, role) for role in ROLES}
    names: dict[str, Any] = {
        "kites": _add(engine, "1979.1", "Kites", factories.text_tape(*KITES)),
        "seeded": _add(engine, "1979.2", "Kites, seeded", factories.text_tape(*SEEDED)),
        "damaged": _add(
            engine, "1979.3", HOSTILE, factories.damaged(factories.text_tape(*KITES[2:]), 80)
        ),
        "hex": _add(engine, "1979.4", "Monitor patch", factories.hex_tape()),
        "long": _add(engine, "1979.5", "Long roll", factories.text_tape(*LONG)),
        "loose": _add(
            engine, None, "", factories.text_tape("10 REM NOBODY DESCRIBED ME", "20 END")
        ),
    }
    with unit_of_work(engine, COMMAND) as work:
        box = "Loft, shelf 2, box 5"
        tapes.create(work, NewTape(title="Unread tape", accession_number="1979.6", place=box))
        program = factories.program(work, title="Kites", language="BASIC")
        programs.add_version(work, program.id, NewVersion(label="first", sha256=names["kites"]))
        programs.add_version(work, program.id, NewVersion(label="seeded", sha256=names["seeded"]))
        place = place_records.at_path(work, "Loft, shelf 2")
        assert place is not None
        soon = work.now.date() + timedelta(days=9)
        new = NewLoan(tape="1979.2", borrower="A school", purpose="To show", due_on=soon)
        loan = loans.propose(work, new).id
        check = shelf_checks.begin(work, place).id
        wanted = NewRequest(program=program.id, wanted_on=soon, purpose="The open day")
        request = tape_requests.ask(work, wanted).id
    report = _report(engine)
    punchings: dict[str, Any] = _punchings(engine, names)
    engine.dispose()
    return Library(
        path,
        sessions,
        program=program.id,
        report=report,
        place=place,
        loan=loan,
        request=request,
        check=check,
        **names,
        **punchings,
    )


def _punchings(engine: Engine, names: dict[str, str]) -> dict[str, Any]:
    """One that waits to be punched, one that was read back otherwise, and one that is done."""
    (waiting,) = punched.begun(engine, names["kites"])
    differing = punched.punched(engine, names["seeded"])
    bad = factories.damaged(punched.frames(engine, differing.id), differing.data.start + 30)
    punched.read_back(engine, differing.id, bad)
    copied = punched.punched(engine, names["hex"])
    copy = punched.read_back(engine, copied.id, punched.frames(engine, copied.id)).tape
    return {"waiting": waiting.id, "differing": differing.id, "copied": copied.id, "copy": copy}


def _sign_in(engine: Engine, role: Role) -> tuple[str, str]:
    with unit_of_work(engine, COMMAND) as work:
        create_person(work, f"{role}-1", PASSWORD, role, f"Pat the {role}")
    with unit_of_work(engine) as work:
        signed_in = people.sign_in(work, f"{role}-1", PASSWORD)
    return signed_in.token, signed_in.csrf


def _add(engine: Engine, number: str | None, title: str, frames: bytes) -> str:
    upload = accession.Upload(file_name=f"{number or 'loose'}.bin", data=frames)
    examined = accession.examine(upload, len(frames))
    with unit_of_work(engine, COMMAND) as work:
        sha256 = accession.accept(work, examined).image.sha256
        if number is not None:
            tape = NewTape(title=title, accession_number=number, notes="Box of the club")
            tapes.create(work, tape)
            tapes.attach(work, number, sha256)
    return sha256


def _report(engine: Engine) -> int:
    defects = (
        Defect(
            kind=DefectKind.MOULD,
            severity=DefectSeverity.SEVERE,
            position_mm=254.0,
            note="grey spots",
        ),
        Defect(kind=DefectKind.TORN_EDGE, severity=DefectSeverity.SLIGHT),
    )
    new = NewReport(
        tape="1979.3",
        checked_on=date(2026, 3, 2),
        state=Condition.UNFIT,
        defects=defects,
        hazard=Hazard.MOULD,
        advice="Leave it in its bag.",
    )
    with unit_of_work(engine, COMMAND) as work:
        return condition.log(work, new).id
