"""TOML that strangers wrote -> plain tables, in bounded time and memory."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from scoring.limits import MOST_KEY_PARTS

NOT_KEYS = re.compile(
    r'"{3}(?:\\.|[^\\])*?(?:"{3}|\Z)'
    r"|'{3}.*?(?:'{3}|\Z)"
    r'|"(?:\\.|[^"\\\n])*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+",
    re.DOTALL,
)
"""Texts in quotes and remarks, also those that never end."""

LONG_KEY = re.compile(rf"(?<![\w-])(?:[\w-]++[ \t]*+\.[ \t]*+){{{MOST_KEY_PARTS}}}")


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text. Raises ValueError saying in words why it has none."""
    if LONG_KEY.search(NOT_KEYS.sub("q", text)):
        raise ValueError(f"has a key of more than {MOST_KEY_PARTS} parts")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("is nested too deeply") from error
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"is not valid TOML: {error}") from error
    except ValueError as error:  # Python converts no more than 4300 digits
        raise ValueError("holds a number with too many digits") from error
