import re

import pytest

from server.catalog.load_practice import OF_CONDITION, OF_MEDIUM, PRACTICES, STANDING, practice_for
from server.tape.anatomy import BOOTSTRAP
from server.tape.formats import FORMATS
from server.tape.formats.base import Loader

KNOWN = {"format", "ranges", "entry", "dialect"}


@pytest.mark.parametrize("loader", list(Loader))
@pytest.mark.parametrize("name", [*FORMATS, f"{BOOTSTRAP}checksum-block", "of another release"])
def test_every_loader_requirement_and_format_has_steps(loader, name):
    usual = practice_for(loader, name)

    assert usual.needs
    assert usual.steps
    assert usual.worked


@pytest.mark.parametrize("usual", PRACTICES.values())
def test_practice_names_only_what_a_sheet_can_fill_in(usual):
    texts = (usual.needs, *usual.steps, usual.worked, usual.start, usual.start_unknown)

    assert {name for text in texts for name in re.findall(r"{(.*?)}", text)} <= KNOWN
    assert "{entry}" not in usual.start_unknown


def test_the_table_is_of_formats_that_there_are():
    assert {name for _, name in PRACTICES} <= {"", BOOTSTRAP, *FORMATS}


def test_the_standing_cautions_name_what_hurts_and_who_decides():
    told = " ".join(STANDING)

    for word in ("Running tape cuts", "Mains", "local codes", "licensed", "conservator", "mouldy"):
        assert word in told
    assert all((*OF_CONDITION.values(), *OF_MEDIUM.values()))
