"""Several things in a sentence."""

from __future__ import annotations

import pytest

from scoring.words import listed


@pytest.mark.parametrize(
    ("words", "sentence"),
    [([], ""), (["a"], "a"), (["a", "b"], "a or b"), (list("abc"), "a, b or c")],
)
def test_lists_read_as_in_a_sentence(words: list[str], sentence: str) -> None:
    assert listed(words, "or") == sentence
