"""The table of problems: complete, without doubles, and each of some help."""

from collections.abc import Iterator

import pytest

from server import statuses
from server.catalog.errors import ArchiveError, Conflict, TooLarge
from server.statuses import PROBLEMS, problem_of


def kinds(of: type[ArchiveError] = ArchiveError) -> Iterator[type[ArchiveError]]:
    for kind in of.__subclasses__():
        yield kind
        yield from kinds(kind)


@pytest.mark.parametrize("kind", list(kinds()))
def test_every_refusal_of_the_catalog_has_an_entry_under_its_own_code(kind):
    assert kind.code in PROBLEMS
    assert 400 <= PROBLEMS[kind.code].status < 500


def test_no_two_problems_share_a_code():
    listed = [each for each in vars(statuses).values() if isinstance(each, statuses.Problem)]

    assert len({each.code for each in listed}) == len(listed)
    assert {each.code for each in listed} <= PROBLEMS.keys()


@pytest.mark.parametrize("problem", PROBLEMS.values(), ids=PROBLEMS)
def test_a_problem_says_what_it_is_and_how_to_mend_it(problem):
    assert problem.meaning.endswith(".")
    assert problem.mend.endswith(".")
    assert not problem.title.endswith(".")
    assert f"/help/problems#{problem.code}" == problem.type


def test_a_refusal_is_told_as_its_nearest_kind():
    assert problem_of(TooLarge("over", limit=1)).status == 413


def test_a_stale_revision_is_told_apart_from_a_taken_number():
    assert problem_of(Conflict("changed", revision=2)).status == 412
    assert problem_of(Conflict("taken")).status == 409
