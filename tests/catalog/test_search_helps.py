"""What helps a search on: numbers of lines, facets with counts, other spellings."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from server.catalog.work import VISITOR, Work, unit_of_work
from tests.catalog.test_search import ask, fill
from tests.store.rows import add_image, add_reading, add_tape


@pytest.fixture
def work(engine: Engine) -> Iterator[Work]:
    """The small library of the other searches."""
    with unit_of_work(engine, VISITOR) as work:
        fill(work.session)
        yield work


def numbered(work: Work) -> None:
    image_id = add_image(work.session, "10 REM SHOAL\n20 PRINT 1\n30 END\n")
    tape_id = add_tape(work.session, "1998.4", "Shoal chart")
    add_reading(work.session, image_id, tape_id)


@pytest.mark.parametrize("q", ["1998.4", "shoal chart", "SHOAL"])
def test_a_line_is_found_by_its_number_in_whatever_is_named(work: Work, q: str):
    numbered(work)

    hits = ask(work, q, line=2).hits

    assert {(hit.field, hit.line, hit.excerpt) for hit in hits} == {
        ("line", 2, (("20 PRINT 1", False),))
    }
    assert ask(work, q, line=7).hits == ()


def test_facets_count_what_choosing_them_would_find(work: Work):
    page = ask(work, "glass", facets=True)

    for name, values in page.facets.items():
        for each in values:
            assert ask(work, "glass", **{name: each.value}).total == each.count, (name, each)
    assert {name for name, values in page.facets.items() if values} >= {
        "format",
        "check_status",
        "verification",
        "medium",
        "place",
    }


def test_counts_heed_the_other_facets_and_not_their_own(work: Work):
    chosen = {"medium": ["paper"], "check_status": ["sound"]}
    page = ask(work, "glass", facets=True, **chosen)

    for name, values in page.facets.items():
        for each in values:
            asked = {**chosen, name: [each.value]}
            assert ask(work, "glass", **asked).total == each.count, (name, each)
    assert [each.value for each in page.facets["medium"] if each.chosen] == ["paper"]


@pytest.mark.parametrize(
    ("made", "year", "found"),
    [
        ("1978", 1978, True),
        ("1978-04~", 1978, True),
        ("197X", 1974, True),
        ("1976/1979", 1978, True),
        ("1976/1979", 1975, False),
        (None, 1978, False),
    ],
)
def test_year_admits_what_may_have_been_made_in_it(
    work: Work, made: str | None, year: int, *, found: bool
):
    add_tape(work.session, "1997.1", "Estuary chart", made=made)

    assert bool(ask(work, "estuary", year=year).hits) == found


@pytest.mark.parametrize(
    ("q", "meant"),
    [("galss maze", "glass maze"), ("abbacus", "abacus"), ("glasworks", "glassworks")],
)
def test_another_spelling_is_offered_where_nothing_is_found(work: Work, q: str, meant: str):
    page = ask(work, q)

    assert page.hits == ()
    assert page.help is not None
    assert page.help.spelling == meant
    assert page.help.near
    assert ask(work, meant).hits


def test_words_in_another_order_lead_to_the_title(work: Work):
    page = ask(work, "maze glass")

    assert page.help is not None
    assert page.help.spelling is None
    assert [each.title for each in page.help.near] == ["Glass Maze"]


def test_what_nothing_is_like_is_given_no_help(work: Work):
    assert ask(work, "qqqqqqqqq").help is None


def test_nothing_found_says_what_each_limit_took_away(work: Work):
    page = ask(work, "turn left", medium="polyester", check_status="damaged", language="basic")

    assert page.hits == ()
    assert page.help is not None
    assert page.help.dropped == {}
    page = ask(work, "turn left", medium="polyester", language="basic")
    assert page.help is not None
    assert page.help.dropped == {"medium": 1}
