"""Programs linked, merged and split, and each of these undone."""

import pytest

from server.catalog import (
    links,
    program_merging,
    program_splitting,
    programs,
    tapes,
    versions,
)
from server.catalog.errors import Conflict, Moved, NotFound
from server.catalog.events import ObjectKind
from server.catalog.history.undoing import NewUndo, undo
from server.catalog.program_merging import NewProgramMerge
from server.catalog.program_splitting import NewSplit
from server.catalog.program_values import (
    NewLink,
    ProgramChange,
    ProgramQuery,
    VersionChange,
)
from server.catalog.tape_values import TapeChange
from server.catalog.terms import Vocabulary
from server.catalog.work import Work
from tests import factories
from tests.catalog.history.steps import history, newest, refused, take_back, version

PERIPHERAL = Vocabulary.PERIPHERAL


def test_a_link_is_seen_from_both_sides_and_undone_from_where_it_begins(engine):
    with factories.acting(engine) as work:
        one, two = factories.program(work, title="One"), factories.program(work, title="Two")
        links.add(work, two.id, NewLink(kind="continues", other=one.id, note="by the same"))
        seen = programs.get(work, one.id).links[0]
        event = newest(work, ObjectKind.PROGRAM, two.id)
        part = history(work, ObjectKind.PROGRAM, one.id)[0]

        assert (seen.words, seen.title, seen.made_here) == ("continued by", "Two", False)
        assert part.refusal == f"It came with entry {event}: undo that."
        entry = undo(work, event, NewUndo())
        assert programs.get(work, one.id).links == ()
        undo(work, entry, NewUndo())
        assert programs.get(work, two.id).links[0].note == "by the same"


@pytest.mark.parametrize("kind", ["continues", "adaptation of", "translation of"])
def test_a_program_does_not_come_after_what_comes_after_it(sqlite_engine, kind):
    with factories.acting(sqlite_engine) as work:
        ids = [factories.program(work, title=f"P{n}").id for n in range(3)]
        links.add(work, ids[1], NewLink(kind="continues", other=ids[0]))
        links.add(work, ids[2], NewLink(kind="adaptation of", other=ids[1]))
        with pytest.raises(Conflict):
            links.add(work, ids[0], NewLink(kind=kind, other=ids[2]))
        links.add(work, ids[0], NewLink(kind="uses", other=ids[2]))


def merged(work: Work):
    """Two programs with versions, tapes and links, the second merged into the first."""
    one = factories.program(work, title="Tides", memory="8 KB")
    two = factories.program(work, title="High water", language="BASIC", variant_titles=("HW",))
    third = factories.program(work, title="Almanac")
    version(work, one, "1", "10 REM ONE", "20 END")
    shas = [
        version(work, two, "1", "10 REM TWO", "20 PRINT 2", "30 END"),
        version(work, two, "2", "5 X=1", "6 END"),
    ]
    number = factories.tape(work, program=two.id).accession_number
    links.add(work, two.id, NewLink(kind="uses", other=third.id))
    links.add(work, two.id, NewLink(kind="continues", other=one.id))
    program_merging.merge(work, two.id, NewProgramMerge(into=one.id, note="the same"))
    return one, two, third, shas, number


def test_a_merged_program_gives_all_it_has_to_the_other_and_leads_there(engine):
    with factories.acting(engine) as work:
        one, two, third, shas, number = merged(work)
        after = programs.get(work, one.id)
        with pytest.raises(Moved) as elsewhere:
            programs.get(work, two.id)
        told = history(work, ObjectKind.PROGRAM, one.id)

        assert [each.label for each in after.versions] == ["2", "1 (High water)", "1"]
        assert {each.sha256 for each in after.versions} > set(shas)
        assert (after.language, after.memory) == ("BASIC", "8 KB")
        assert after.variant_titles == ("High water", "HW")
        assert [(each.words, each.program) for each in after.links] == [("uses", third.id)]
        assert [each.accession_number for each in after.tapes] == [number]
        assert elsewhere.value.path_of(f"/programs/{two.id}/family") == f"/programs/{one.id}/family"
        assert programs.page(work, ProgramQuery(q="High water")).total == 1
        assert {each.key for each in told} == {str(one.id), str(two.id)}


def test_a_merge_is_undone_as_if_it_had_not_been(engine):
    with factories.acting(engine) as work:
        one, two, third, shas, number = merged(work)
        entry = take_back(work, ObjectKind.PROGRAM, one.id)
        first, second = programs.get(work, one.id), programs.get(work, two.id)

        assert ([each.label for each in first.versions], first.language) == (["1"], "")
        assert first.variant_titles == ()
        assert [(each.label, each.sha256) for each in second.versions] == [
            ("2", shas[1]), ("1", shas[0])
        ]  # fmt: skip
        assert {(each.words, each.program) for each in second.links} == {
            ("uses", third.id), ("continues", one.id)
        }  # fmt: skip
        assert tapes.get(work, number).program == two.id
        assert programs.page(work, ProgramQuery(q="High water")).total == 1
        undo(work, entry, NewUndo())
        assert len(programs.get(work, one.id).versions) == 3


def test_a_merge_on_which_something_stands_is_not_undone(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, _, third, _, number = merged(work)
        event = newest(work, ObjectKind.PROGRAM, one.id)
        tapes.change(work, number, TapeChange(program=third.id))
        assert refused(work, event) == f"Tape {number} does not carry Tides any more."
        take_back(work, ObjectKind.TAPE, number)
        programs.change(work, one.id, ProgramChange(language="FORTRAN"))
        assert "“language” was changed again since" in refused(work, event)
        take_back(work, ObjectKind.PROGRAM, one.id)
        held = programs.get(work, one.id).versions[0]
        versions.change(work, one.id, held.id, VersionChange(label="two"))
        assert refused(work, event).startswith("Version 2 of Tides was changed")


def test_two_versions_of_one_image_become_one_and_are_two_again(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one, two = factories.program(work, title="One"), factories.program(work, title="Two")
        version(work, one, "1")
        version(work, two, "first")
        program_merging.merge(work, two.id, NewProgramMerge(into=one.id))
        assert [each.label for each in programs.get(work, one.id).versions] == ["1"]
        take_back(work, ObjectKind.PROGRAM, one.id)

        assert [each.label for each in programs.get(work, two.id).versions] == ["first"]


def test_programs_that_others_may_see_are_not_merged(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        one = factories.program(work, title="One")
        two = factories.program(work, title="Two", access="restricted")
        with pytest.raises(Conflict):
            program_merging.merge(work, two.id, NewProgramMerge(into=one.id))


def split(work):
    source = factories.program(work, title="Tides", language="BASIC")
    shas = [version(work, source, label, f"10 REM {label}", "20 END") for label in ("1", "2")]
    numbers = [factories.tape(work, program=source.id).accession_number for _ in range(2)]
    second = programs.get(work, source.id).versions[0]
    new = NewSplit(title="Moon", versions=(second.id,), tapes=(numbers[1],))
    return source, program_splitting.split(work, source.id, new), shas, numbers


def test_a_split_gives_a_program_of_its_own_and_both_histories_say_so(engine):
    with factories.acting(engine) as work:
        source, new, shas, numbers = split(work)
        left = programs.get(work, source.id)

        assert ([each.sha256 for each in new.versions], new.language) == ([shas[1]], "BASIC")
        assert [each.accession_number for each in new.tapes] == [numbers[1]]
        assert [each.sha256 for each in left.versions] == [shas[0]]
        assert [each.accession_number for each in left.tapes] == [numbers[0]]
        for each in (source.id, new.id):
            assert "split off" in history(work, ObjectKind.PROGRAM, each)[0].detail


def test_a_split_is_undone_and_done_again(engine):
    with factories.acting(engine) as work:
        source, new, shas, numbers = split(work)
        entry = take_back(work, ObjectKind.PROGRAM, source.id)
        with pytest.raises(NotFound):
            programs.get(work, new.id)
        assert {each.sha256 for each in programs.get(work, source.id).versions} == set(shas)
        assert tapes.get(work, numbers[1]).program == source.id
        undo(work, entry, NewUndo())

        assert [each.sha256 for each in programs.get(work, new.id).versions] == [shas[1]]


def test_a_split_on_which_something_stands_is_not_undone(sqlite_engine):
    with factories.acting(sqlite_engine) as work:
        source, new, _, _ = split(work)
        event = newest(work, ObjectKind.PROGRAM, source.id)
        factories.tape(work, program=new.id)

        assert "has other versions or tapes by now" in refused(work, event)
