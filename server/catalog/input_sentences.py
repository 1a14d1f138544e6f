"""What is wrong with a value that was given, in the archive's own words."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

_WHOLE: Final = "give a whole number"
_NUMBER: Final = "give a number"
_TEXT: Final = "give text"
_LIST: Final = "give a list"
_DAY: Final = "write the day as 2026-04-30"
_MOMENT: Final = "write the time as 2026-04-30T13:45:00Z"
_FIELDS: Final = "give fields and their values"

UNTOLD: Final = "this value cannot be taken here"
"""For a fault that none of the inputs is known to have."""

_SENTENCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "missing": "this must be given",
        "extra_forbidden": "there is no such field",
        "string_type": _TEXT,
        "string_unicode": "this is not Unicode text",
        "string_too_short": "this must be given",
        "string_too_long": "at most {max_length} characters fit here",
        "string_pattern_mismatch": "control characters cannot be kept here",
        "enum": "choose one of {expected}",
        "literal_error": "choose one of {expected}",
        "int_type": _WHOLE,
        "int_parsing": _WHOLE,
        "int_from_float": _WHOLE,
        "int_parsing_size": "this number is too large",
        "float_type": _NUMBER,
        "float_parsing": _NUMBER,
        "finite_number": "give a number that is not infinite",
        "greater_than": "give more than {gt}",
        "greater_than_equal": "give at least {ge}",
        "less_than": "give less than {lt}",
        "less_than_equal": "give at most {le}",
        "bool_type": "give true or false",
        "bool_parsing": "give true or false",
        "date_type": _DAY,
        "date_parsing": _DAY,
        "date_from_datetime_parsing": _DAY,
        "date_from_datetime_inexact": _DAY,
        "datetime_type": _MOMENT,
        "datetime_parsing": _MOMENT,
        "datetime_from_date_parsing": _MOMENT,
        "list_type": _LIST,
        "tuple_type": _LIST,
        "iterable_type": _LIST,
        "too_long": "give at most {max_length}",
        "too_short": "give at least {min_length}",
        "bytes_type": "give a file",
        "dict_type": _FIELDS,
        "model_type": _FIELDS,
        "model_attributes_type": _FIELDS,
        "invalid_key": "the name of a field must be text",
        "json_invalid": "this is not JSON",
    }
)


def sentence(error: Mapping[str, Any]) -> str:
    """What is wrong with one value, from pydantic's description of it.

    Where a validator of ours refused the value, its words are given as they are.
    """
    context = error.get("ctx", {})
    if error["type"] == "value_error":
        return str(context["error"])
    return _SENTENCES.get(error["type"], UNTOLD).format_map(context)
