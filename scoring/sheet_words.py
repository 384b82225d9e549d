"""What is wrong with a sheet's form, said in plain words: where, what was wanted, what came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

LONGEST_VALUE = 40
"""Characters of a wrong value that are repeated in a complaint."""

Complaint = Mapping[str, Any]
"""One error as pydantic gives it: type, loc, input, ctx."""

_WORDS = {
    "missing": "this key is missing",
    "extra_forbidden": "there is no such key",
    "union_tag_not_found": "the key kind is missing",
    "union_tag_invalid": "there is no kind {tag}; the kinds are {expected_tags}",
    "literal_error": "must be {expected}",
    "greater_than": "must be more than {gt:.12g}",
    "greater_than_equal": "must be at least {ge:.12g}",
    "less_than": "must be less than {lt:.12g}",
    "less_than_equal": "must be at most {le:.12g}",
    "finite_number": "must be a finite number",
    "int_type": "must be a whole number",
    "float_type": "must be a number",
    "bool_type": "must be true or false",
    "string_type": "must be text",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} characters",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
    "too_short": "must have at least {min_length} entries",
    "too_long": "must have at most {max_length} entries",
}

_PATTERNS = {
    "^[A-Za-z]$": "must be one letter",
    "^[a-z][a-z0-9 -]{0,30}$": "must be a short word in small letters",
    "^[A-Z]{1,2}[0-9]{1,3}$": "must be a row letter and a column number, such as C4",
    "^[0-9]{1,4}$": "must be a number",
}

_SILENT = ("missing", "extra_forbidden", "union_tag_not_found", "union_tag_invalid")
"""Complaints in which the value that came says nothing more."""


def in_words(complaints: Sequence[Complaint], data: Mapping[str, Any]) -> tuple[str, str]:
    """(place, reason) of the first complaint; entries of lists are counted from 1 and named."""
    first = complaints[0]
    places = [", ".join(_places(complaint["loc"], data)) for complaint in complaints]
    more = len(set(places)) - 1
    return places[0], _reason(first) + (f" (and {more} more)" if more else "")


def _reason(complaint: Complaint) -> str:
    kind, context = complaint["type"], complaint.get("ctx", {})
    if kind == "string_pattern_mismatch":
        words = _PATTERNS[context["pattern"]]
    else:
        words = str(_WORDS.get(kind, complaint["msg"])).format(**context)
    value = repr(complaint["input"])
    if kind in _SILENT or len(value) > LONGEST_VALUE:
        return words
    return f"{words}, not {value}"


def _places(loc: Sequence[int | str], data: Any) -> list[str]:
    """The keys on the way to a value; words of the checker's own (types, kinds) are left out."""
    places = []
    for step in loc:
        if isinstance(step, int):
            data = data[step] if isinstance(data, list) and step < len(data) else None
            places.append(f"number {step + 1}{_name(data)}")
        elif isinstance(data, dict) and step in data:
            data = data[step]
            places.append(step)
        elif step == loc[-1] and step[:1].isalpha() and "[" not in step and isinstance(data, dict):
            places.append(step)
    return places


def _name(entry: Any) -> str:
    if not isinstance(entry, dict):
        return ""
    name = next((entry[key] for key in ("name", "label", "id") if key in entry), None)
    return "" if name is None else f" ({name})"
