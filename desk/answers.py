"""Answers in a TOML file: read them, and note each new one at once so that none is lost.

by = "Ana"

[Ben]
C4 = "moss"
D2 = "skip"
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from desk.aside import move_aside
from desk.durable import write_whole
from desk.given import GivenError, load_toml
from desk.records import Answer
from desk.say import complain
from desk.types import SKIP, Ask, Clock, Question, now
from scoring.sheet import GameSheet
from scoring.types import EMPTY
from scoring.words import listed


@dataclass(frozen=True)
class GivenAnswers:
    """An answers file: who answered, and the colour that lies in each cell, by player."""

    by: str
    cells: Mapping[str, Mapping[str, str]]


def load_answers(
    path: Path, sheet: GameSheet, players: Sequence[str], usual_by: str
) -> GivenAnswers:
    """Answers as ``by = "name"`` and a ``[player]`` table each: ``C4 = "colour"``.

    ``usual_by``: who answered where the file does not say; where it is empty, the file must.
    """
    data = load_toml(path)
    by = data.pop("by", usual_by)
    if not isinstance(by, str) or not by.strip():
        raise GivenError(str(path), 'say who answered, as in by = "Ana".')
    for player, cells in data.items():
        if player not in players:
            raise GivenError(f"{path}, {player}", f"the players are {', '.join(players)}.")
        if not isinstance(cells, dict):
            raise GivenError(f"{path}, {player}", f"write a table [{player}] of cells.")
        for cell, colour in cells.items():
            check_answer(f"{path}, {player}, {cell}", sheet, cell, colour)
    return GivenAnswers(by.strip(), data)


def check_answer(where: str, sheet: GameSheet, cell: str, colour: Any) -> None:
    """Raise GivenError unless the board has the cell and the sheet the colour."""
    if cell not in sheet.lattice.neighbours:
        raise GivenError(where, "the board has no such cell.")
    known = [known.name for known in sheet.colours] + [EMPTY, SKIP]
    if colour not in known:
        raise GivenError(where, f"{colour!r} is none of {', '.join(known)}.")


def answers_from(given: GivenAnswers, clock: Clock) -> list[Answer]:
    """A file's answers as they go on the record, dated by the clock."""
    return [
        Answer(player, cell, colour, given.by, now(clock))
        for player, cells in given.cells.items()
        for cell, colour in cells.items()
    ]


def noting_answers(ask: Ask, path: Path) -> Ask:
    """The same asker, with all answers so far written to a file after each one.

    A file of an earlier run is moved aside before the first answer is noted, and that is said,
    unless its answers are the ones that this run began with.
    """
    earlier = path.read_bytes() if path.exists() else b""

    def ask_and_note(question: Question) -> Answer | None:
        nonlocal earlier
        try:
            answer = ask(question)
        except KeyboardInterrupt:
            if path.exists():
                complain(f"\nGo on with --answers {path}")
            raise
        if answer:
            if earlier not in (b"", answers_toml(question.game.answers).encode()):
                complain(f"The answers noted there before are kept as {move_aside(path)}")
            earlier = b""
            write_whole(path, answers_toml([*question.game.answers, answer]).encode())
        return answer

    return ask_and_note


def answers_toml(answers: Sequence[Answer]) -> str:
    """Answers as a file that ``load_answers`` reads."""
    players = dict.fromkeys(answer.player for answer in answers)
    lines = [f"by = {quoted(listed(list(dict.fromkeys(a.by for a in answers))))}"]
    for player in players:
        lines += ["", f"[{quoted(player)}]"]
        told = {a.cell: a.colour for a in answers if a.player == player}
        lines += [f"{cell} = {quoted(colour)}" for cell, colour in told.items()]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's, but for DEL, which JSON leaves bare."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
