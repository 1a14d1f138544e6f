from collections.abc import Iterator
from random import Random

import pytest
from sqlalchemy import Engine, select
from sqlmodel import col

from server.catalog import events, families, forms, kinship, programs
from server.catalog.errors import Conflict, Invalid, NotAllowed, NotFound
from server.catalog.events import EventType, ObjectKind
from server.catalog.family_values import Decided, Family, Member, NewDecision
from server.catalog.program_values import NewVersion
from server.catalog.work import Role, Work
from server.store.images import ImageRow
from server.tape.kinship import fingerprints
from tests import factories
from tests.bench.programs import line_added, misread, program, reworked

FIRST = program(Random(1), 40)
SECOND = reworked(Random(2), FIRST)
THIRD = line_added(Random(4), reworked(Random(3), SECOND))
OTHER = program(Random(9), 40)


@pytest.fixture
def work(engine: Engine) -> Iterator[Work]:
    with factories.acting(engine) as work:
        yield work


def held(work: Work, lines: list[str], **others: object) -> str:
    return factories.upload(work, factories.text_tape(*lines), **others).image.sha256


def tree(member: Member | None) -> object:
    assert member is not None
    return (
        {member.sha256: [tree(each) for each in member.members]}
        if member.members
        else (member.sha256)
    )


def members(family: Family) -> set[str]:
    def below(member: Member) -> Iterator[str]:
        yield member.sha256
        for each in member.members:
            yield from below(each)

    return set() if family.root is None else set(below(family.root))


def decide(work: Work, sha256: str, kind: Decided, other: str | None = None) -> Family:
    return families.decide(work, sha256, NewDecision(kind=kind, other=other, note="as told"))


@pytest.fixture
def three(work: Work) -> tuple[str, str, str]:
    return held(work, FIRST), held(work, SECOND), held(work, THIRD)


def versions(work: Work, *names: str) -> int:
    number = factories.program(work, title="Tide table").id
    for at, name in enumerate(names, 1):
        programs.add_version(work, number, NewVersion(label=str(at), sha256=name))
    return number


def test_versions_hang_on_the_one_they_are_closest_to(work: Work, three: tuple[str, ...]):
    first, second, third = three
    number = versions(work, *three)
    again = held(work, misread(Random(5), THIRD, 300))

    family = families.of_program(work, number)
    assert family.size == 4
    # Undated: it begins with the one in the middle.
    assert tree(family.root) == {second: [first, {third: [again]}]}
    assert family.why_root.startswith("No tape is dated")
    assert family.root is not None
    on_second = family.root.members[1]
    assert (on_second.label, on_second.near, on_second.decision) == ("3", True, None)
    assert on_second.kin is not None
    assert on_second.kin.sha256 == second
    assert on_second.kin.description.startswith(f"{on_second.kin.similarity:.1%}"[:-1])
    assert families.of_image(work, again) == family


def test_it_begins_with_the_version_whose_tape_was_made_first(work: Work):
    names = []
    for lines, made in ((SECOND, "1979"), (FIRST, "1978~"), (THIRD, "198X")):
        number = factories.tape(work, made=made).accession_number
        names.append(held(work, lines, tape=number))
    second, first, third = names
    family = families.of_program(work, versions(work, *names))
    assert tree(family.root) == {first: [{second: [third]}]}
    assert family.why_root == "Its tape is said to be the first made: 1978~."


def test_of_tapes_made_at_one_time_none_is_called_the_first(work: Work):
    names = []
    for lines in (FIRST, SECOND):
        number = factories.tape(work, made="1979").accession_number
        names.append(held(work, lines, tape=number))
    family = families.of_program(work, versions(work, *names))
    assert family.why_root == "No tape is said to be made before its own: 1979."


def test_it_begins_with_the_only_version_there_is(work: Work, three: tuple[str, ...]):
    _, second, _ = three
    family = families.of_program(work, versions(work, second))
    assert family.root is not None
    assert family.root.sha256 == second
    assert family.why_root == "It alone is kept as a version of the program."


def test_what_somebody_recorded_counts_for_more_than_distance(work: Work, three: tuple[str, ...]):
    first, second, third = three
    number = versions(work, *three)
    decide(work, first, Decided.MADE_FROM, third)
    family = families.of_program(work, number)
    assert tree(family.root) == {third: [{first: [second]}]}
    assert family.why_root == "Others were recorded as made from it."
    assert family.root is not None
    made = family.root.members[0]
    assert made.made_from
    assert made.decision is not None
    assert (made.decision.by, made.decision.note) == ("command line", "as told")


def test_nothing_is_made_from_what_was_made_from_it(work: Work, three: tuple[str, ...]):
    first, second, third = three
    decide(work, second, Decided.MADE_FROM, first)
    decide(work, third, Decided.MADE_FROM, second)
    with pytest.raises(Conflict):
        decide(work, first, Decided.MADE_FROM, third)
    decide(work, second, Decided.UNDECIDED, first)
    decide(work, first, Decided.MADE_FROM, third)


def test_who_is_taken_out_stays_out_and_can_be_let_in_again(work: Work, three: tuple[str, ...]):
    number = versions(work, *three)
    again = held(work, misread(Random(5), THIRD, 300))
    alone = decide(work, again, Decided.APART)
    assert (alone.program, members(alone)) == (None, {again})
    family = families.of_program(work, number)
    assert members(family) == set(three)
    assert [(each.sha256, each.decision.kind) for each in family.taken_out] == [
        (again, Decided.APART)
    ]
    assert members(decide(work, again, Decided.UNDECIDED)) == {*three, again}
    assert families.of_program(work, number).taken_out == ()


def test_who_is_put_there_belongs_though_nothing_is_near(work: Work, three: tuple[str, ...]):
    number = versions(work, *three)
    stranger = held(work, OTHER)
    family = decide(work, stranger, Decided.TOGETHER, three[0])
    assert family.program == number
    assert stranger in members(family)
    assert family.root is not None
    assert [each.near for each in family.root.members if each.sha256 == stranger] in ([False], [])


def test_decisions_stick_when_images_are_compared_anew(work: Work, three: tuple[str, ...]):
    number = versions(work, *three)
    again = held(work, misread(Random(5), THIRD, 300))
    decide(work, again, Decided.APART)
    decide(work, three[0], Decided.TOGETHER, three[1])
    family = families.of_program(work, number)
    for image_id in work.session.scalars(select(col(ImageRow.id))).all():
        assert image_id is not None
        form = forms.of(work, {image_id})[image_id]
        hashes = fingerprints(form)
        kinship.keep(work, image_id, form, hashes)
        kinship.record(work, image_id, kinship.find(work, form, hashes, besides=image_id))
    assert families.of_program(work, number) == family
    assert [each.sha256 for each in family.taken_out] == [again]


def test_each_decision_is_one_event_of_the_image(work: Work, three: tuple[str, ...]):
    decide(work, three[2], Decided.APART)
    decide(work, three[2], Decided.TOGETHER, three[0])
    told = [
        (each.detail, each.facts["decision"], len(each.facts["others"]))
        for each in events.of(work, ObjectKind.IMAGE, three[2])
        if each.type is EventType.FAMILY
    ]
    assert [each[1:] for each in told] == [("together", 1), ("apart", 2)]
    assert told[0][0] == f"belongs to one family with {three[0][:12]}"


def test_versions_of_other_programs_stay_out_unless_somebody_puts_them_there(work: Work):
    first, second = held(work, FIRST), held(work, SECOND)
    one, other = versions(work, first), versions(work, second)
    assert members(families.of_program(work, one)) == {first}
    assert members(families.of_program(work, other)) == {second}
    assert decide(work, first, Decided.TOGETHER, second).program == one
    assert members(families.of_program(work, one)) == {first, second}


def test_a_reel_belongs_to_the_family_of_each_program_on_it_and_joins_them_not(work: Work):
    one, other = held(work, FIRST), held(work, OTHER)
    reel = held(work, [*FIRST, *OTHER])
    assert members(families.of_image(work, one)) == {one, reel}
    assert members(families.of_image(work, other)) == {other, reel}
    assert members(families.of_image(work, reel)) == {one, other, reel}


def test_a_torn_copy_hangs_on_the_version_that_it_fits_best(work: Work, three: tuple[str, ...]):
    number = versions(work, *three)
    torn = held(work, THIRD[:30])
    family = families.of_program(work, number)
    assert tree(family.root) == {three[1]: [three[0], {three[2]: [torn]}]}


def test_a_program_without_images_has_an_empty_family(work: Work):
    family = families.of_program(work, factories.program(work).id)
    assert (family.size, family.root) == (0, None)


def test_what_cannot_be_decided_is_refused(work: Work, engine: Engine, three: tuple[str, ...]):
    blank = factories.upload(work, bytes(100)).image.sha256
    for kind, other in (
        (Decided.TOGETHER, None),
        (Decided.MADE_FROM, three[0]),
        (Decided.UNDECIDED, None),
    ):
        with pytest.raises(Invalid):
            decide(work, three[0], kind, other)
    with pytest.raises(Invalid):
        decide(work, blank, Decided.APART)
    with pytest.raises(NotFound):
        decide(work, three[0], Decided.TOGETHER, "0" * 64)


def test_only_archivists_decide(engine: Engine):
    with factories.acting(engine, Role.VOLUNTEER) as work:
        name = held(work, FIRST)
        with pytest.raises(NotAllowed):
            decide(work, name, Decided.APART)
