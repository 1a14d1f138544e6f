"""What queues hold, as rows of a list: a few queries for a page, whatever its size."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final, TypeAlias

from sqlalchemy import func, select
from sqlmodel import col

from server.catalog import kinship, verification
from server.catalog.family_members import names_of
from server.catalog.handling import do_not_run
from server.catalog.held import known, titles
from server.catalog.narrowing import WORDS
from server.catalog.queues.queue import About, Queue
from server.catalog.queues.values import Entry, Ids, StepLink
from server.catalog.vocabulary import Condition, Hazard
from server.catalog.work import Role, Work
from server.store.images import Decoding, ImageRow
from server.store.loans import TapeRequest
from server.store.people import Person
from server.store.programs import Program
from server.store.tapes import Tape
from server.store.work_items import WorkItem
from server.tape.findings import CheckStatus
from server.tape.kinship import describe

_COLUMNS: Final = MappingProxyType(
    {
        About.TAPE: col(WorkItem.tape_id),
        About.IMAGE: col(WorkItem.image_id),
        About.PAIR: col(WorkItem.image_id),
        About.REQUEST: col(WorkItem.request_id),
    }
)
"""Where the first id of what is listed stands on own lists."""

Told: TypeAlias = Callable[[Work, Sequence[Ids]], dict[Ids, Entry]]


def entries(work: Work, queue: Queue, found: Sequence[Ids]) -> tuple[Entry, ...]:
    """What a queue says of each of these, in their order."""
    told = _TOLD[queue.about](work, found)
    takers, details = _takers(work, queue, found), queue.tells(work, found)
    return tuple(
        _settled(
            work,
            queue,
            replace(told[ids], detail=details.get(ids, told[ids].detail)),
            takers.get(ids, {}),
        )
        for ids in found
    )


def _settled(work: Work, queue: Queue, entry: Entry, takers: Mapping[int, str]) -> Entry:
    """The entry with its steps, and on whose lists it is; the latter is for those who work here."""
    place = entry.at
    others = {person: name for person, name in takers.items() if person != work.actor.person_id}
    return replace(
        entry,
        steps=tuple(
            StepLink(step.words, step.leads_to(place), step.role)
            for step in queue.steps
            if step.fits(place)
        ),
        mine=work.actor.person_id in takers,
        taken_by=tuple(others.values()) if work.actor.role.includes(Role.VOLUNTEER) else (),
    )


def ids_of(item: WorkItem) -> Ids:
    """The ids of what stands on somebody's list."""
    columns = (item.tape_id, item.image_id, item.other_id, item.request_id)
    return tuple(each for each in columns if each is not None)


def _takers(work: Work, queue: Queue, found: Sequence[Ids]) -> dict[Ids, dict[int, str]]:
    """Who has what on their lists, by id and name."""
    column = _COLUMNS[queue.about]
    rows = work.session.execute(
        select(WorkItem, col(Person.display_name))
        .join(Person, col(Person.id) == col(WorkItem.person_id))
        .where(column.in_({ids[0] for ids in found}), col(WorkItem.queue) == queue.name)
        .order_by(col(WorkItem.id))
    )
    takers: dict[Ids, dict[int, str]] = {}
    for item, name in rows:
        takers.setdefault(ids_of(item), {})[item.person_id] = name
    return takers


def _of_tapes(work: Work, found: Sequence[Ids]) -> dict[Ids, Entry]:
    rows = work.session.execute(
        select(Tape, col(ImageRow.sha256))
        .outerjoin(ImageRow, col(ImageRow.id) == col(Tape.image_id))
        .where(col(Tape.id).in_([ids[0] for ids in found]))
    )
    told: dict[Ids, Entry] = {}
    for tape, sha256 in rows:
        told[(known(tape.id),)] = Entry(
            ids=(known(tape.id),),
            key=tape.accession_number,
            title=tape.title,
            format=tape.format,
            tape=tape.accession_number,
            image=sha256,
            place=tape.place,
            check_status=None if tape.check_status is None else CheckStatus(tape.check_status),
            verification=None if tape.image_id is None else WORDS[tape.verified],
            condition=Condition(tape.condition),
            quarantined=Hazard(tape.hazard).quarantines,
            do_not_run=do_not_run(tape),
            last_report=tape.last_report,
        )
    return told


def _of_images(work: Work, found: Sequence[Ids]) -> dict[Ids, Entry]:
    image_ids = [ids[0] for ids in found]
    names = titles(work, image_ids)
    words = verification.words_of(work, image_ids)
    rows = work.session.execute(
        select(
            col(ImageRow.id), col(ImageRow.sha256), col(Decoding.format), col(Decoding.check_status)
        )
        .join(Decoding, col(Decoding.image_id) == col(ImageRow.id))
        .where(col(ImageRow.id).in_(image_ids), ~col(Decoding.superseded))
    )
    told: dict[Ids, Entry] = {}
    for row_id, sha256, form, check_status in rows:
        image_id = known(row_id)
        told[(image_id,)] = Entry(
            ids=(image_id,),
            key=sha256,
            title=names[image_id].title,
            format=form,
            tape=names[image_id].accession,
            do_not_run=names[image_id].do_not_run,
            image=sha256,
            check_status=CheckStatus(check_status),
            verification=words[image_id],
        )
    return told


def _of_pairs(work: Work, found: Sequence[Ids]) -> dict[Ids, Entry]:
    image_ids = {image_id for ids in found for image_id in ids}
    names = titles(work, image_ids)
    digests = names_of(work, image_ids)
    related = kinship.among(work, image_ids)
    told: dict[Ids, Entry] = {}
    for first, second in found:
        told[(first, second)] = Entry(
            ids=(first, second),
            key=f"{digests[first]}-{digests[second]}",
            title=names[first].title,
            detail=describe(related[first, second]),
            tape=names[first].accession,
            do_not_run=names[first].do_not_run,
            image=digests[first],
            other=digests[second],
            other_title=names[second].title,
            other_tape=names[second].accession,
        )
    return told


def _of_requests(work: Work, found: Sequence[Ids]) -> dict[Ids, Entry]:
    """Requests: of a tape with all that is told of it, of a program with its title."""
    rows = work.session.execute(
        select(
            col(TapeRequest.id),
            col(TapeRequest.tape_id),
            func.coalesce(col(Program.title), ""),
        )
        .outerjoin(Program, col(Program.id) == col(TapeRequest.program_id))
        .where(col(TapeRequest.id).in_([ids[0] for ids in found]))
    )
    wanted = [(known(request), tape, program) for request, tape, program in rows]
    tapes = _of_tapes(work, [(tape,) for _, tape, _ in wanted if tape is not None])
    return {
        (request,): replace(
            Entry((request,), "", program) if tape is None else tapes[(tape,)],
            ids=(request,),
            key=str(request),
            request=request,
        )
        for request, tape, program in wanted
    }


_TOLD: Final[Mapping[About, Told]] = MappingProxyType(
    {
        About.TAPE: _of_tapes,
        About.IMAGE: _of_images,
        About.PAIR: _of_pairs,
        About.REQUEST: _of_requests,
    }
)
