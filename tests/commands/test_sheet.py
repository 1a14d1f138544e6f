"""`sheet`: what stands on paper, for a machine without a browser."""

import json

import pytest

from server import cli
from server.catalog import load_sheets, programs
from server.catalog.load_sheet_values import NewTexts, SheetOf
from server.catalog.program_values import NewVersion
from server.store.engine import make_engine
from tests import factories


@pytest.fixture
def sheet(archive):
    """A tape with an image that is the master of a version, whose sheet somebody wrote."""
    engine = make_engine(archive)
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1978.4", place="Loft")
        factories.tape(work, accession_number="1978.5")
        sha256 = factories.upload(work, factories.hex_tape(), tape="1978.4").image.sha256
        made = factories.program(work, title="Lamps", machine="8080 machine")
        made = programs.add_version(work, made.id, NewVersion(label="2", sha256=sha256))
        of = SheetOf(program=made.id, version=made.versions[0].id)
        new = NewTexts(
            steps="Go on and on " * 20 + "\nStop",
            bootstrap="0: C3 0 1 ; to the program",
            cautions="Hot lamp",
        )
        load_sheets.put(work, of, new)
    engine.dispose()
    return of, sha256


def test_a_sheet_is_written_in_eighty_columns(sheet, said):
    assert cli.main(["sheet", "1978.4"]) == 0
    lines = said().out.splitlines()

    assert max(map(len, lines)) <= 80
    assert lines[:2] == ["Lamps, version 2", "8080 machine"]
    for line in ("    1978.4: Loft; not examined", "    0000  C3  to the program",
                 "    0002  01", " 2. Stop", "  ! Hot lamp"):  # fmt: skip
        assert line in lines
    assert lines[-2].startswith("Sheet, revision 2, command line, ")


def test_a_sheet_is_named_by_digest_and_version_too(sheet, said):
    of, sha256 = sheet
    for args in ([sha256.upper()], [sha256, "--version", str(of.version)]):
        assert cli.main(["sheet", *args]) == 0
        assert said().out.startswith("Lamps, version 2\n")


def test_json_is_that_of_the_api(sheet, said):
    assert cli.main(["sheet", "1978.4", "--json"]) == 0
    told = json.loads(said().out)

    assert (told["heading"], told["revision"]) == ("Lamps, version 2", 2)


@pytest.mark.parametrize(
    ("args", "complaint"),
    [
        (["1978.5"], "Nothing was read from tape 1978.5"),
        (["1978.9"], "There is no tape 1978.9"),
        (["0" * 64], "No image"),
        (["1978.4", "--version", "77"], "not the master of a version"),
    ],
)
def test_what_has_no_sheet_is_refused(sheet, said, args, complaint):
    assert cli.main(["sheet", *args]) == 1
    assert complaint in said().err
