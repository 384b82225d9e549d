"""What people type and what they are told."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from desk.answers import (
    GivenAnswers,
    answers_from,
    answers_toml,
    load_answers,
    noting_answers,
)
from desk.export import tally_csv, tally_json
from desk.given import (
    GivenError,
    is_count,
    load_claims,
    parse_corners,
    parse_corners_by_player,
    parse_seats,
)
from desk.questions import file_name, understood
from desk.records import Answer
from desk.tally_words import tally_words, verdict
from desk.types import Claims, Question
from desk.web.weigh import tally_view
from tests.desk import fakes
from vision.types import StripSeen

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "given.toml"
    path.write_text(text, "utf-8")
    return path


def test_claims_are_read_with_facts(tmp_path: Path) -> None:
    path = written(tmp_path, 'Ana = ["Stile"]\nBen = []\n[facts]\nBen = ["first to finish"]\n')

    assert load_claims(path) == Claims({"Ana": ["Stile"], "Ben": []}, {"Ben": ["first to finish"]})


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('Ana = "Stile"', "Ana: write the names as a list of texts in quotes."),
        ("Ana = [1]", "Ana: write the names as a list of texts in quotes."),
        ("facts = 3", 'write one line a player, such as Ana = ["first card"].'),
        ("Ana = [", "is not valid TOML"),
    ],
)
def test_wrong_claims_are_named(tmp_path: Path, text: str, complaint: str) -> None:
    with pytest.raises(GivenError) as caught:
        load_claims(written(tmp_path, text))

    assert str(caught.value).startswith(str(tmp_path / "given.toml"))
    assert complaint in str(caught.value)


def test_answers_are_written_as_they_are_read(tmp_path: Path) -> None:
    answers = [
        Answer("Ana", "A1", "moss", 'Jo "the host"', "2026-11-25T12:00:00+00:00"),
        Answer("Ben é\x7f", "C2", "skip", 'Jo "the host"', "2026-11-25T12:00:00+00:00"),
    ]
    path = written(tmp_path, answers_toml(answers))

    given = load_answers(path, fakes.sheet(), ["Ana", "Ben é\x7f"], "")

    assert answers_from(given, lambda: NOON) == answers


def test_answers_of_a_file_that_names_nobody_are_those_of_who_gives_it(tmp_path: Path) -> None:
    nameless = written(tmp_path, '[Ana]\nA1 = "moss"')

    assert load_answers(nameless, fakes.sheet(), ["Ana"], "Jo").by == "Jo"

    named = written(tmp_path, 'by = "Ben"\n[Ana]\nA1 = "moss"')

    assert load_answers(named, fakes.sheet(), ["Ana"], "Jo").by == "Ben"


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('[Ana]\nA1 = "moss"', 'say who answered, as in by = "Ana".'),
        ('by = "Jo"\n[Cleo]\nA1 = "moss"', "Cleo: the players are Ana, Ben."),
        ('by = "Jo"\n[Ana]\nZ9 = "moss"', "Ana, Z9: the board has no such cell."),
        (
            'by = "Jo"\n[Ana]\nA1 = "red"',
            "Ana, A1: 'red' is none of moss, slate, empty, skip.",
        ),
        ('by = "Jo"\nAna = 3', "Ana: write a table [Ana] of cells."),
    ],
)
def test_wrong_answers_are_named(tmp_path: Path, text: str, complaint: str) -> None:
    with pytest.raises(GivenError) as caught:
        load_answers(written(tmp_path, text), fakes.sheet(), ["Ana", "Ben"], "")

    assert str(caught.value).endswith(complaint)


def test_an_answers_file_names_its_author() -> None:
    given = GivenAnswers("Jo", {"Ana": {"A1": "moss"}})

    assert [answer.by for answer in answers_from(given, lambda: NOON)] == ["Jo"]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("M", "moss"),
        ("m", "moss"),
        (" slate ", "slate"),
        ("MOSS", "moss"),
        ("0", "empty"),
        (".", "empty"),
        ("Empty", "empty"),
        ("?", "skip"),
        ("skip", "skip"),
        ("red", None),
        ("", None),
    ],
)
def test_an_answer_is_understood_by_letter_or_name(typed: str, meant: str | None) -> None:
    assert understood(fakes.sheet(), typed) == meant


def test_seats_keep_their_order() -> None:
    assert parse_seats(["Ben=b.jpg", "Ana=a=1.jpg"]) == {
        "Ben": Path("b.jpg"),
        "Ana": Path("a=1.jpg"),
    }


@pytest.mark.parametrize("words", [["ana.jpg"], ["=a.jpg"], ["Ana="], ["Ana=a.jpg", "Ana=b.jpg"]])
def test_wrong_seats_are_named(words: list[str]) -> None:
    with pytest.raises(GivenError, match=r"PLAYER=PHOTO|names must differ"):
        parse_seats(words)


def test_corners_are_read() -> None:
    square = [[0.0, 0.0], [9.5, 0.0], [9.5, 9.0], [0.0, 9.0]]

    assert parse_corners(["0,0", "9.5,0", "9.5,9", "0,9"]).tolist() == square
    by_player = parse_corners_by_player(["Ana=0,0 9.5,0 9.5,9 0,9"], ["Ana"])
    assert by_player["Ana"].tolist() == square


@pytest.mark.parametrize("words", [["0,0"], ["0,0", "1,0", "1,1", "x,1"], ["0", "1", "2", "3"]])
def test_wrong_corners_are_named(words: list[str]) -> None:
    with pytest.raises(GivenError, match="give four points as x,y"):
        parse_corners(words)


@pytest.mark.parametrize(
    ("text", "is_one"),
    [("0", True), ("32", True), ("", False), ("²", False), ("-1", False), ("9" * 20, False)],
)
def test_counts_are_plain_digits(text: str, is_one: bool) -> None:
    assert is_count(text) is is_one


def test_two_corners_in_one_point_are_refused() -> None:
    with pytest.raises(GivenError, match="two of the four points are the same"):
        parse_corners(["1,1", "9,1", "9,9", "1,1"])


def test_corners_of_a_stranger_are_refused() -> None:
    with pytest.raises(GivenError, match="begin with a player: Ana"):
        parse_corners_by_player(["Cleo=0,0 1,0 1,1 0,1"], ["Ana"])


def test_names_that_look_alike_as_file_names_stay_apart() -> None:
    names = ["Ana", "ana", "Ana B", "Ana/B", "../Ana", "..", "Änne"]

    made = [file_name(name) for name in names[1:]]

    assert len(set(made)) == len(made)
    assert not [name for name in made if "/" in name or "." in name or not name]


def test_a_settled_tally_says_who_won_and_why() -> None:
    text = "\n".join(
        tally_words(fakes.outcome(fakes.seat("Ana", fakes.ANA), fakes.seat("Ben", fakes.BEN)))
    )

    assert "Ana wins." in text
    assert "card Stile, 5 points: A2 A3 A4" in text
    assert "Unsure" not in text


def test_an_open_doubt_gives_the_range_and_says_what_hangs_on_it() -> None:
    seats = [
        fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")}),
        fakes.seat("Ben", fakes.BEN, {"A1": ("empty", "slate")}),
    ]

    text = "\n".join(tally_words(fakes.outcome(*seats)))

    assert "15 (10 to 15)" in text
    assert (
        "Unsure: Ana's cell A2 may be moss (M) or slate (S); "
        "it can change Ana's total and the card Stile." in text
    )
    assert "Unsure, changes nothing: Ben's A1." in text


def test_a_game_is_not_won_while_anything_is_open() -> None:
    """Even where the answers cannot change who wins, and where a board is still missing."""
    ana = fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")})
    leading = fakes.outcome(ana, fakes.seat("Ben", fakes.BEN.replace("C: M M", "C: S M")))
    whole = fakes.outcome(fakes.seat("Ana", fakes.ANA), fakes.seat("Ben", fakes.BEN))
    waiting = replace(whole, missing=("Cleo",))

    assert leading.hangs.winners == ("Ana",)
    assert verdict(leading).startswith("Still open: Ana ahead whatever the answers are")
    assert verdict(waiting) == "Still open: Cleo not read yet. So far Ana."
    for one in (leading, waiting):
        assert " win" not in "\n".join(tally_words(one)).replace("who wins", "")
        assert tally_json(one)["settled"] is False
    assert verdict(whole) == "Ana wins."


def test_a_covered_cell_may_be_anything() -> None:
    text = "\n".join(tally_words(fakes.outcome(fakes.seat("Ana", fakes.ANA, {"A2": ("odd",)}))))

    assert "A2 may be anything" in text


def test_the_json_adds_up() -> None:
    seats = [fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")}), fakes.seat("Ben", fakes.BEN)]
    made = json.loads(json.dumps(tally_json(fakes.outcome(*seats))))

    assert made["settled"] is False
    assert made["unsure"][0]["changes"] == {"total": True, "cards": ["Stile"], "winner": False}
    for player in made["players"]:
        assert player["total"] == sum(line["points"] for line in player["lines"])
        for line in player["lines"]:
            assert line["points"] == sum(proof["points"] for proof in line["proofs"])
    assert made["players"][0]["between"] == [10, 15]


def test_the_csv_adds_up_and_holds_no_formula() -> None:
    seats = [fakes.seat("Ana", fakes.ANA), fakes.seat("=1+1", fakes.BEN)]
    rows = list(csv.DictReader(io.StringIO(tally_csv(fakes.outcome(*seats)))))

    assert {row["player"] for row in rows} == {"Ana", "'=1+1"}
    for player in ("Ana", "'=1+1"):
        mine = [row for row in rows if row["player"] == player]
        total = next(int(row["points"]) for row in mine if row["rule"] == "total")
        assert total == sum(int(row["points"]) for row in mine if row["rule"] != "total")


def test_answers_of_an_earlier_run_are_kept_beside_the_new_ones(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    noted = tmp_path / "answers.toml"
    noted.write_text('by = "Jo"\n\n["Ana"]\nB1 = "slate"\n')
    told = fakes.outcome(fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")}))
    question = Question(1, told.game, told.hangs.doubts[0], told.hangs)
    said = Answer("Ana", "A2", "moss", "Jo", "2026-11-25T12:00:00+00:00")
    ask = noting_answers(lambda _: said, noted)
    ask(question)
    ask(question)

    assert 'B1 = "slate"' in (tmp_path / "answers.older-1.toml").read_text()
    assert 'A2 = "moss"' in noted.read_text()
    assert len(list(tmp_path.iterdir())) == 2
    assert "kept as" in capsys.readouterr().err


def test_answers_are_noted_as_they_come_and_a_stop_says_where(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    noted = tmp_path / "answers.toml"
    first = Answer("Ana", "A2", "moss", "Jo", "2026-11-25T12:00:00+00:00")
    told = fakes.outcome(fakes.seat("Ana", fakes.ANA, {"A2": ("moss", "slate")}))
    question = Question(1, told.game, told.hangs.doubts[0], told.hangs)

    assert noting_answers(lambda _: first, noted)(question) == first
    assert load_answers(noted, fakes.sheet(), ["Ana"], "").cells == {"Ana": {"A2": "moss"}}

    def stop(_: Question) -> Answer:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        noting_answers(stop, noted)(question)
    assert f"Go on with --answers {noted}" in capsys.readouterr().err


@pytest.mark.parametrize("used", [True, False])
def test_what_came_of_a_key_strip_is_told_wherever_the_tally_is(*, used: bool) -> None:
    ana, ben = fakes.seat("Ana", fakes.ANA), fakes.seat("Ben", fakes.BEN)
    strip = StripSeen(used, "The key strip is as it is.")
    one = fakes.outcome(replace(ana, first=replace(ana.first, strip=strip)), ben)
    words = "Ana's board: The key strip is as it is."

    assert words in "\n".join(tally_words(one))
    assert words in tally_view(one)["unsure_words"]


def test_a_photo_in_strange_light_is_told_of_wherever_the_tally_is() -> None:
    ana, ben = fakes.seat("Ana", fakes.ANA), fakes.seat("Ben", fakes.BEN)
    strange = replace(ana, first=replace(ana.first, alarm="The light is unlike."))
    one = fakes.outcome(strange, ben)
    warning = "Beware, Ana's board: The light is unlike."

    assert warning in "\n".join(tally_words(one))
    assert warning in tally_view(one)["unsure_words"]
