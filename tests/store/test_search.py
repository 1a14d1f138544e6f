"""What is found by `server.store.search`; the same battery on both databases."""

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from sqlalchemy import Engine, delete, select, text
from sqlalchemy.orm import Session
from sqlmodel import col

from server.settings import Settings
from server.store.engine import make_engine
from server.store.migration import downgrade, migrate
from server.store.search import (
    INDEXED_CHARACTERS,
    RANKS,
    SCANNED_LISTINGS,
    fold,
    holds,
    index_listing,
    index_record,
    is_scanned,
    keys,
    readable,
)
from server.store.tables import ListingText
from server.store.texts import LISTINGS, RECORDS, Texts
from tests.store.rows import add_image

BODIES = (
    '10 PRINT "HELLO, WORLD"\n20 GOTO 10\n',
    "10 REM 100% SURE_THING\n20 LET A=B*C\n",
    "10 REM 1000 SUREXTHING\n20 LET A=B\\C\n",
    '10 PRINT "CAFÉ ÉTÉ"\n20 PRINT "Straße ΣΊΣΥΦΟΣ"\n',
    '10 REM A "QUOTED" AND AN \' APOSTROPHE; NOT OR NEAR (X) ^ - +\n',
    "10 REM 🎞 TAPE — EN DASH\n",
    "aaaaaaaa\n",
    "\n",
    "",
)

NEEDLES = (
    "hello",
    "HELLO, W",
    "o, w",
    "goto 10",
    "100%",
    "%",
    "0% S",
    "e_t",
    "_",
    "***",
    "B*C",
    "b\\c",
    "\\",
    "café",
    "cafe\N{COMBINING ACUTE ACCENT}",
    "ÉTÉ",
    "STRAßE",
    "σίσυφος",
    '"quoted"',
    '"',
    '"""',
    "' apo",
    "not or near",
    "NEAR(",
    "(x)",
    "^ - +",
    "body:",
    "🎞 t",
    "🎞",
    "— en",
    "aaa",
    "aaaaaaaa",
    "aaaaaaaaa",
    "1",
    "10",
    "zz",
    "zzz",
    "   ",
    " ",
)


def truth(bodies: tuple[str, ...], needle: str) -> list[int]:
    """Which bodies hold the needle, by Python alone."""
    return [at for at, body in enumerate(bodies, start=1) if fold(needle) in fold(body)]


def found(session: Session, texts: Texts, needle: str) -> list[int]:
    return list(
        session.scalars(select(texts.key).where(holds(session, texts, needle)).order_by(texts.key))
    )


@pytest.fixture
def filled(engine: Engine) -> Engine:
    with Session(engine) as session, session.begin():
        for number, body in enumerate(BODIES):
            image_id = add_image(session, f"stand-in {number}")
            index_listing(session, image_id, body)
    return engine


def test_listings_that_hold_a_needle_are_found_and_no_others(filled: Engine):
    with Session(filled) as session:
        answers = {needle: found(session, LISTINGS, needle) for needle in NEEDLES}

    assert answers == {needle: truth(BODIES, needle) for needle in NEEDLES}


def test_needles_try_both_sides_of_the_answer():
    hits = [truth(BODIES, needle) for needle in NEEDLES]

    assert sum(not hit for hit in hits) >= 5
    assert sum(bool(hit) for hit in hits) >= 25


def test_any_needle_is_found_where_it_stands(filled: Engine):
    characters = st.text(st.sampled_from(sorted(set("".join(BODIES)) - {"\n"})), max_size=6)
    pieces = st.sampled_from(BODIES[:6]).flatmap(
        lambda body: st.integers(0, len(body)).flatmap(
            lambda start: st.integers(0, 12).map(lambda length: body[start : start + length])
        )
    )

    @hypothesis_settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given((characters | pieces).filter(bool))
    def check(needle: str) -> None:
        with Session(filled) as session:
            assert found(session, LISTINGS, needle) == truth(BODIES, needle)

    check()


def test_listing_indexed_again_is_found_by_its_new_text_only(filled: Engine):
    with Session(filled) as session, session.begin():
        index_listing(session, 1, '10 PRINT "GOODBYE"\n')

    with Session(filled) as session:
        assert found(session, LISTINGS, "goodbye") == [1]
        assert found(session, LISTINGS, "hello") == []


def test_noise_is_searched_no_further_than_the_longest_tapes_go(filled: Engine):
    longest = INDEXED_CHARACTERS - len("edge")
    with Session(filled) as session, session.begin():
        index_listing(session, 1, "." * longest + "edge" + "beyond")

    with Session(filled) as session:
        assert found(session, LISTINGS, "edge") == [1]
        assert found(session, LISTINGS, "beyond") == []


def test_listing_taken_out_is_not_found(filled: Engine):
    with Session(filled) as session, session.begin():
        session.execute(delete(ListingText).where(col(ListingText.image_id) == 1))

    with Session(filled) as session:
        assert found(session, LISTINGS, "hello") == []


def test_record_is_found_by_any_field_and_by_its_new_words_only(engine: Engine):
    with Session(engine) as session, session.begin():
        index_record(session, "tape", 7, {"title": "Maze of Glass", "origin": "", "notes": "n"})
        index_record(session, "program", 7, {"title": "Glass bead sums"})
        index_record(session, "tape", 7, {"title": "Maze of Mirrors"})

    with Session(engine) as session:
        assert len(found(session, RECORDS, "mirror")) == 1
        assert len(found(session, RECORDS, "glass")) == 1
        assert len(found(session, RECORDS, "n")) == 1
        assert len(found(session, RECORDS, "s")) == 2


def test_field_that_nobody_searches_is_refused(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, pytest.raises(KeyError):
        index_record(session, "tape", 1, {"colour": "buff"})


def test_each_field_has_a_rank_of_its_own():
    assert sorted(RANKS.values()) == list(range(len(RANKS)))


def test_short_needle_reads_only_the_newest_listings(engine: Engine):
    """Old listings are left out of a scan, and found again by a needle that the index takes."""
    far = SCANNED_LISTINGS + 5
    with Session(engine) as session, session.begin():
        first = add_image(session, "xyz old")
        session.execute(
            text(
                "INSERT INTO image (id, sha256, size, levels, created_at, frames)"
                " SELECT :far, replace(sha256, substr(sha256, 1, 1), 'g'), size, levels,"
                " created_at, frames FROM image"
            ),
            {"far": far},
        )
        index_listing(session, far, "xyz new")

    with Session(engine) as session:
        assert is_scanned("xy")
        assert found(session, LISTINGS, "xy") == [far]
        assert found(session, LISTINGS, "xyz") == [first, far]


def test_index_is_built_anew_from_the_texts_when_its_migration_returns(filled: Engine):
    downgrade(filled, "write_once")
    migrate(filled)

    with Session(filled) as session:
        assert found(session, LISTINGS, "hello") == truth(BODIES, "hello")


def test_sqlite_index_agrees_with_its_texts(sqlite_engine: Engine):
    with Session(sqlite_engine) as session, session.begin():
        for body in BODIES:
            image_id = add_image(session, f"stand-in {body}")
            index_listing(session, image_id, body)
        session.execute(
            text("INSERT INTO listing_search(listing_search, rank) VALUES ('integrity-check', 1)")
        )


@pytest.mark.postgres
def test_postgresql_finds_by_its_index_where_there_is_much_to_read(postgres_settings: Settings):
    engine = make_engine(postgres_settings)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO image (id, sha256, size, levels, created_at, frames)"
            " SELECT n, lpad(n::text, 64, '0'), 1, 8, now(), '0' FROM generate_series(1, 2000) n"
        )
        connection.exec_driver_sql(
            "INSERT INTO listing_text (image_id, body)"
            " SELECT id, repeat(md5(id::text), 150) FROM image"
        )
        connection.exec_driver_sql("ANALYZE listing_text")
    with Session(engine) as session:
        asked = str(
            keys(session, LISTINGS, "hello").compile(engine, compile_kwargs={"literal_binds": True})
        )
        plan = session.connection().exec_driver_sql(f"EXPLAIN {asked}").scalars()

        assert "ix_listing_search_grams" in "\n".join(plan)
    engine.dispose()


@given(st.text())
def test_folding_keeps_every_place(given_text: str):
    assert len(fold(given_text)) == len(readable(given_text))


@given(st.text(st.characters(exclude_categories=["Cs", "Mn"])))
def test_folding_twice_changes_nothing(given_text: str):
    assert fold(fold(given_text)) == fold(given_text)


@given(st.text(st.characters(max_codepoint=0x7F)))
def test_folding_of_plain_text_only_lowers_letters(given_text: str):
    assert fold(given_text) == given_text.replace("\0", "\N{REPLACEMENT CHARACTER}").lower()
