"""Statements of rights: which are published, and what a licence expression may be.

The twelve statements and their addresses: RightsStatements.org, vocabulary 1.0, from memory. The
identifiers of licences: the SPDX licence list, as the library `packaging` carries it (release
3.27 with packaging 26.3), which also reads the expressions (SPDX specification, annex on licence
expressions).
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Final

from packaging.licenses import InvalidLicenseExpression, canonicalize_license_expression
from pydantic import AfterValidator

from server.catalog.inputs import Name

_AT: Final = "http://rightsstatements.org/vocab/{code}/1.0/"

STATEMENTS: Final[Mapping[str, str]] = MappingProxyType(
    {
        _AT.format(code=code): title
        for code, title in (
            ("InC", "In copyright"),
            ("InC-OW-EU", "In copyright: EU orphan work"),
            ("InC-EDU", "In copyright: educational use permitted"),
            ("InC-NC", "In copyright: non-commercial use permitted"),
            ("InC-RUU", "In copyright: rights-holders cannot be found or identified"),
            ("NoC-CR", "No copyright: contractual restrictions"),
            ("NoC-NC", "No copyright: non-commercial use only"),
            ("NoC-OKLR", "No copyright: other known legal restrictions"),
            ("NoC-US", "No copyright: United States"),
            ("CNE", "Copyright not evaluated"),
            ("UND", "Copyright undetermined"),
            ("NKC", "No known copyright"),
        )
    }
)
"""What each statement says, by its address."""

NO_ASSERTION: Final = "NOASSERTION"
"""Nobody knows under which licence it stands (SPDX)."""


def _is_statement(uri: str) -> str:
    if uri and uri not in STATEMENTS:
        raise ValueError(
            "choose one of the twelve statements of RightsStatements.org, by its whole address:"
            f" {_AT.format(code='InC')} and so on"
        )
    return uri


def _is_licence(text: str) -> str:
    if not text or text.upper() == NO_ASSERTION:
        return text.upper()
    try:
        return str(canonicalize_license_expression(text))
    except InvalidLicenseExpression:
        raise ValueError(
            "write SPDX identifiers such as CC0-1.0 or MIT, joined by AND, OR and WITH;"
            f" LicenseRef-… for terms of your own; {NO_ASSERTION} where nobody knows"
        ) from None


RightsUri = Annotated[Name, AfterValidator(_is_statement)]
"""The address of one of `STATEMENTS`; empty where none is given."""

Licence = Annotated[Name, AfterValidator(_is_licence)]
"""An SPDX licence expression, brought to its usual spelling; empty where none is given."""
