from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, update
from sqlalchemy.orm import Session
from sqlmodel import col

from server.store.forms import RELEASE, NormalFormRow, keep, kept
from server.store.images import Decoding
from server.tape.normal_form import NormalForm
from tests.store.rows import add_image

texts = st.text(st.characters(exclude_categories=()), max_size=20)
forms = st.builds(
    NormalForm,
    st.just("text"),
    st.lists(texts, max_size=4).map(tuple),
    st.lists(st.none() | st.integers(0, 65529), max_size=4).map(tuple),
    st.just(b"10 PRINT 1"),
    textual=st.booleans(),
    memory=st.lists(st.tuples(st.integers(0, 65535), st.binary(max_size=9)), max_size=3).map(tuple),
    cell_bytes=st.sampled_from((1, 2)),
)


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    with Session(engine) as session, session.begin():
        yield session
        session.rollback()


@given(forms)
@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_form_comes_back_as_it_was_kept_and_the_newest_counts(session: Session, form: NormalForm):
    with session.begin_nested() as nested:
        image_id = add_image(session, "10 PRINT 1", content=form.content, format="text")
        keep(session, image_id, NormalForm("text", ("old",), (None,), b"", textual=True))
        keep(session, image_id, form)
        assert kept(session, {image_id, 999}) == {image_id: form}
        nested.rollback()


def test_a_form_of_another_release_or_of_a_superseded_decoding_is_not_given(session: Session):
    image_id = add_image(session, "10 PRINT 1")
    keep(session, image_id, NormalForm("text", (), (), b"", textual=True))
    assert kept(session, {image_id})
    session.execute(update(NormalFormRow).values(release=0))
    assert not kept(session, {image_id})
    session.execute(update(NormalFormRow).values(release=RELEASE))
    session.execute(
        update(Decoding).where(col(Decoding.image_id) == image_id).values(superseded=True)
    )
    assert not kept(session, {image_id})
