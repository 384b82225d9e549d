"""Every way in, tried for a moment with real inputs that were spoilt by chance.

`tests/bench/fuzz.py` tries the same for as long as one likes, guided by coverage.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.fuzz_targets import TARGETS, Target

EXAMPLES = {"photo": 300, "card": 100, "table": 100, "archive": 100, "api": 100}
OTHERWISE = 500
NASTY = (b"0", b"-1", b"1e999", b"nan", b"9" * 30, b"[]", b"{}", b'""', b"\0", b"\xff", b"\n", b".")


@st.composite
def spoilt(draw: st.DrawFn, seeds: list[bytes]) -> bytes:
    """A seed with one to four of its places overwritten, dropped, doubled or cut off.

    hypothesis draws the seed of chance only: drawing each byte would take most of the time.
    """
    data = draw(st.sampled_from(seeds))
    chance = random.Random(draw(st.integers(0, 2**32)))
    for _ in range(chance.randint(1, 4)):
        at, length = chance.randrange(len(data) + 1), chance.randint(0, 12)
        new = chance.choice(
            [
                chance.choice(NASTY),
                chance.randbytes(length),
                data[at : at + length] * 2,
                chance.choice(seeds)[at : at + 40],
                b"",
            ]
        )
        data = data[:at] + new + (b"" if chance.random() < 0.05 else data[at + length :])
    return data


@pytest.fixture(scope="module")
def made(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Target]:
    target = TARGETS[request.param](tmp_path_factory.mktemp("fuzz"))
    yield target
    target.end()


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(("made", "name"), [(name, name) for name in TARGETS], indirect=["made"])
def test_nothing_that_was_spoilt_is_more_than_refused(made: Target, name: str) -> None:
    for seed in made.seeds:
        made.try_it(seed)

    @given(spoilt(made.seeds))
    @settings(
        max_examples=EXAMPLES.get(name, OTHERWISE),
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    def try_it(data: bytes) -> None:
        made.try_it(data)

    try_it()
