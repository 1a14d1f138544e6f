"""Rights statements and licences, held against what is published.

RightsStatements.org, vocabulary 1.0: its twelve addresses, from memory. SPDX specification, annex
on licence expressions: the rules and examples of compound expressions, from memory.
"""

import re

import pytest

from server.catalog.errors import Invalid
from server.catalog.rights_values import STATEMENTS
from server.catalog.tape_values import TapeChange

CODES = {
    "InC", "InC-OW-EU", "InC-EDU", "InC-NC", "InC-RUU", "NoC-CR", "NoC-NC", "NoC-OKLR", "NoC-US",
    "CNE", "UND", "NKC",
}  # fmt: skip


def test_there_are_the_twelve_statements_by_their_exact_addresses():
    shape = re.compile(r"http://rightsstatements\.org/vocab/([A-Za-z-]+)/1\.0/")
    found = [shape.fullmatch(uri) for uri in STATEMENTS]

    assert all(found)
    assert {match[1] for match in found if match} == CODES


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("MIT", "MIT"),
        ("mit", "MIT"),
        ("cc0-1.0", "CC0-1.0"),
        ("LGPL-2.1-only OR MIT", "LGPL-2.1-only OR MIT"),
        ("GPL-2.0-or-later WITH Bison-exception-2.2", "GPL-2.0-or-later WITH Bison-exception-2.2"),
        ("MIT AND (LGPL-2.1-or-later OR BSD-3-Clause)",
         "MIT AND (LGPL-2.1-or-later OR BSD-3-Clause)"),
        ("LicenseRef-23", "LicenseRef-23"),
        ("noassertion", "NOASSERTION"),
        ("", ""),
    ],
)  # fmt: skip
def test_licence_expression_is_kept_in_its_usual_spelling(written: str, kept: str):
    assert TapeChange.of({"licence": written}).licence == kept


@pytest.mark.parametrize(
    "written", ["Ours to share", "MIT OR", "MIT AND NOASSERTION", "CC0", "LicenseRef-a b"]
)
def test_what_is_no_licence_expression_is_refused_and_says_how_to_write_one(written: str):
    with pytest.raises(Invalid) as refusal:
        TapeChange.of({"licence": written})

    assert "SPDX" in refusal.value.fields["licence"]


@pytest.mark.parametrize(
    "uri",
    [
        "https://rightsstatements.org/vocab/InC/1.0/",
        "http://rightsstatements.org/vocab/InC/1.0",
        "http://rightsstatements.org/page/InC/1.0/",
        "InC",
    ],
)
def test_address_that_is_not_exactly_one_of_them_is_refused(uri: str):
    with pytest.raises(Invalid) as refusal:
        TapeChange.of({"rights_uri": uri})

    assert "twelve statements" in refusal.value.fields["rights_uri"]
