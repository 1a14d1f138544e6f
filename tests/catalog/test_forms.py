"""Normal forms of images held: those made again are those that were kept when they came in."""

from sqlalchemy import Engine, delete

from server.catalog import forms
from server.store.forms import NormalFormRow
from tests import factories
from tests.catalog.test_kinship import image_id
from tests.tape.mixed_tapes import DAMAGE, MAKERS, tapes


def test_a_form_made_again_is_the_one_that_was_kept_whatever_the_tape(sqlite_engine: Engine):
    with factories.acting(sqlite_engine) as work:
        ids = {
            image_id(work, factories.upload(work, each.image.frames).image.sha256): each
            for each in tapes(len(MAKERS) * len(DAMAGE))
        }
        kept = forms.of(work, set(ids))
        again = dict(forms.remade(work, set(ids)))
        differing = [ids[each][1:] for each in ids if kept[each] != again[each]]
        assert differing == []
        assert kept.keys() == ids.keys()


def test_a_form_that_is_not_kept_is_made_when_it_is_asked_for(engine: Engine):
    with factories.acting(engine) as work:
        made = image_id(work, factories.upload(work, factories.hex_tape()).image.sha256)
        kept = forms.of(work, {made})
        work.session.execute(delete(NormalFormRow))
        assert forms.of(work, {made}) == kept
        assert forms.of(work, set()) == {}
