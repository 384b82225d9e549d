"""Three boards of one game under one lamp that is not the calibration's: less doubt, like care."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from calibrate.lessons import with_lessons
from calibrate.types import Lesson
from samples.conditions import Conditions
from tests.vision.near_boards import BULB, COLD, kit, reading, shot
from tests.vision.practice import KIND_LIGHT, from_pixels, photo_of, snap
from vision.one_light import settle_together
from vision.read import judged, read_photo
from vision.second_look import Together, read_together, settle
from vision.types import Reading, Spares

GAMES = ((0, BULB), (3, BULB), (0, COLD), (3, COLD), (0, KIND_LIGHT))
"""The first of three boards, by seed, and their light; the last is the calibration's."""


def three(first: int, light: Conditions) -> list[Reading]:
    return [reading(seed, light) for seed in range(first, first + 3)]


def together(boards: list[Reading], *told: dict[str, str]) -> tuple[Reading, ...]:
    return settle_together(boards, told or [{} for _ in boards], kit().table)


def lesson(seed: int, game: int) -> Lesson:
    truth = dict(shot(seed, BULB).truth.labels)
    return Lesson(f"game {game}", "", str(seed), reading(seed, BULB).evidence, truth)


def doubtful(board: Reading) -> list[str]:
    return [cell for cell, read in board.cells.items() if read.doubt is not None]


def doubts(boards: Iterable[Reading]) -> int:
    return sum(len(doubtful(board)) for board in boards)


def wrong(boards: Iterable[Reading], first: int, light: Conditions) -> list[str]:
    """Cells that are certain, and not what the photographer laid."""
    return [
        cell
        for seed, board in enumerate(boards, first)
        for cell, read in board.cells.items()
        if read.doubt is None and read.colour != shot(seed, light).truth.labels[cell]
    ]


def test_under_one_light_fewer_doubts_are_left_and_nothing_is_wrong() -> None:
    alone = [doubts(three(*game)) for game in GAMES]
    beside = [doubts(together(three(*game))) for game in GAMES]
    assert sum(alone) >= 10, "these boards leave doubts alone"
    assert sum(beside) <= 0.75 * sum(alone)
    assert not any(wrong(together(three(*game)), *game) for game in GAMES)


def test_what_is_likeliest_stays_and_is_never_ruled_out() -> None:
    for game in GAMES:
        for alone, beside in zip(three(*game), together(three(*game)), strict=True):
            for cell, read in alone.cells.items():
                assert beside.cells[cell].colour == read.colour
                assert read.doubt or read.colour in beside.cells[cell].candidates


def test_the_order_of_the_boards_says_nothing() -> None:
    boards = three(0, BULB)
    turned = together(boards[::-1])[::-1]
    assert [b.cells for b in turned] == [b.cells for b in together(boards)]


def test_a_board_by_itself_and_boards_without_doubt_are_left_as_they_are() -> None:
    (board,) = together([reading(0, BULB)])
    assert board.cells == reading(0, BULB).cells
    plain = [board for board in three(0, KIND_LIGHT) if not doubtful(board)]
    assert len(plain) > 1
    assert [b.cells for b in together(plain)] == [b.cells for b in plain]


def test_words_on_one_board_settle_cells_of_the_others() -> None:
    """Whichever board of a game is settled first, the others are left with fewer doubts."""
    for first in (0, 12):
        before = together(three(first, BULB))
        heard = 0
        for speaks in range(3):
            truth = shot(first + speaks, BULB).truth.labels
            told: list[dict[str, str]] = [{}, {}, {}]
            told[speaks] = {cell: truth[cell] for cell in doubtful(before[speaks])}
            after = together(three(first, BULB), *told)
            others = [board for board in range(3) if board != speaks]
            left = doubts(after[b] for b in others)
            assert left <= doubts(before[b] for b in others)
            heard += doubts(before[b] for b in others) - left
            assert all(
                after[speaks].cells[c].candidates == (told[speaks][c],) for c in told[speaks]
            )
            assert not wrong(after, first, BULB)
        assert heard > 0


def test_what_was_certain_before_anybody_spoke_stays_so() -> None:
    boards = three(0, BULB)
    before = together(boards)
    lie = {doubtful(before[1])[0]: "walnut"}
    after = together(boards, {}, lie, {})
    for was, now in zip(before, after, strict=True):
        certain = {cell: read for cell, read in was.cells.items() if read.doubt is None}
        assert {cell: now.cells[cell] for cell in certain if cell not in lie} == {
            cell: read for cell, read in certain.items() if cell not in lie
        }


def test_boards_learned_from_settle_cells_of_later_ones() -> None:
    """The third board of a game, beside the two others as boards of an earlier one."""
    alone, beside = [], []
    for first in (0, 3, 6):
        board = reading(first + 2, BULB)
        taught = with_lessons(kit().table, [lesson(seed, 0) for seed in (first, first + 1)])
        alone.append(board)
        beside += settle_together([board], [{}], taught)
        assert not wrong(beside[-1:], first + 2, BULB)
    assert doubts(beside) < doubts(alone)


def test_the_latest_game_that_shares_the_light_is_laid_beside() -> None:
    """Of two games learned from, the one in a light of its own is passed over."""
    boards = three(0, BULB)
    same = [lesson(board, 0) for board in (0, 1)]
    pixels = photo_of(shot(4, BULB)).pixels[:, :, ::-1]
    strange = read_photo(from_pixels(pixels), kit().table)
    other = Lesson("game 2", "", "c", strange.evidence, dict(shot(4, BULB).truth.labels))
    tables = [replace(kit().table, lessons=tuple(its)) for its in (same, [*same, other])]
    first, second = (settle_together([boards[2]], [{}], table)[0] for table in tables)
    assert first.cells == second.cells


def test_boards_that_do_not_share_a_light_stay_as_they_are_alone() -> None:
    """A picture whose colours are turned, red for blue, is in no light that the others are in."""
    boards = three(0, BULB)[:2]
    seen = shot(2, BULB)
    strange = read_photo(from_pixels(photo_of(seen).pixels[:, :, ::-1]), kit().table)
    assert [b.cells for b in together([*boards, strange])] == [b.cells for b in [*boards, strange]]


def test_a_board_of_two_photos_stays_as_they_leave_it() -> None:
    again = snap(kit().board, dict(shot(0, BULB).truth.labels), 300, BULB)
    joined = read_together(
        [reading(0, BULB), read_photo(photo_of(again), kit().table)], kit().table
    )
    assert isinstance(joined, Together)
    told = {"A1": shot(0, BULB).truth.labels["A1"]}
    after = together([joined, reading(1, BULB)], told, {})
    assert after[0].cells == settle(joined, told, kit().table).cells


def test_what_a_key_strip_doubts_stays_in_doubt() -> None:
    """Two spare pieces on each other's name contradict the board, whatever the others say."""
    boards = three(0, COLD)
    truth = shot(0, COLD).truth.labels
    ids = list(truth)
    pieces = [next(c for c in ids if truth[c] == colour) for colour in ("coal", "tar")]
    seen = boards[0].evidence.samples.top[[ids.index(cell) for cell in pieces]]
    spares = Spares(("tar", "coal"), seen, np.array([[-20.0, 20.0], [-20.0, 40.0]]))
    evidence = replace(boards[0].evidence, spares=spares)
    alone = judged(evidence, kit().table, {}).cells
    beside = together([replace(boards[0], evidence=evidence, cells=alone), *boards[1:]])
    assert any("key strip" in str(read.doubt) for read in alone.values())
    assert beside[0].cells == alone
