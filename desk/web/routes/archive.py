"""Games that were kept, and standings."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from pydantic import AfterValidator

from desk.archive import Archive
from desk.keeping.errors import ArchiveError
from desk.keeping.search import Wanted
from desk.keeping.standings import Standings
from desk.web.errors import Refusal
from desk.web.forms import printable
from desk.web.routes.asked import Seat, office_of

router = APIRouter()

MOST = 2_000_000_000
"""Numbers that every archive's database can hold."""

Kept = Annotated[int, Path(ge=1, le=MOST, description="Of the game in the archive.")]


Words = Annotated[str, Query(max_length=100), AfterValidator(printable)]
Date = Annotated[str, Query(pattern=r"^(\d{4}(-\d{2}){0,2})?$")]


@router.get("/archive/games", summary="Games that were kept, the latest first")
def archive_games(
    request: Request,
    text: Words = "",
    player: Words = "",
    game: Words = "",
    card: Words = "",
    date: Date = "",
    before: Annotated[int | None, Query(ge=1, le=MOST)] = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> list[dict[str, Any]]:
    """All of them, or those that are wanted; an entry that was corrected gives way to the later.

    ``text``: words that must all occur, a star ends a beginning; ``player``, ``game``, ``card``:
    whole names; ``date``: a day, month or year of play; ``before``: only smaller numbers.
    """
    wanted = Wanted(text=text, player=player, game=game, card=card, date=date)
    archive = archive_of(request)
    found = archive.games(wanted, limit=limit, before=before, every=False)
    return [
        {
            "id": one.id,
            "saved_at": one.saved_at,
            "game": one.sheet_name,
            "totals": dict(one.totals),
            "winners": list(one.winners),
            "evening": one.evening,
            "settled": one.settled,
        }
        for one in found
    ]


@router.get("/archive/games/{number}", summary="Everything that was kept of one game")
def archive_game(request: Request, number: Kept) -> dict[str, Any]:
    """Readings, answers, claims, tally and what made them."""
    return kept_game(request, number)


@router.get(
    "/archive/games/{number}/boards/{seat}/photo.jpg",
    summary="A kept photo, upright, as large as a phone shows it",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)
def archive_photo(request: Request, number: Kept, seat: Seat) -> Response:
    """From the archive's own file."""
    from desk.web.kept_pictures import kept_jpeg

    archive = archive_of(request)
    return Response(kept_jpeg(archive, kept_game(request, number), seat), media_type="image/jpeg")


@router.get(
    "/archive/games/{number}/boards/{seat}/outlines", summary="Every cell's outline in a kept photo"
)
def archive_outlines(request: Request, number: Kept, seat: Seat) -> dict[str, Any]:
    """Px of the picture, (0, 0) at its top left corner."""
    from desk.web.kept_pictures import kept_outlines

    return kept_outlines(archive_of(request), kept_game(request, number), seat)


@router.get("/archive/standings", summary="Who won how often, by player and game")
def standings(request: Request) -> list[dict[str, Any]]:
    """For each game: games, wins (shared wins count), best and mean total, most wins first.

    ``open`` games were kept with doubts that matter and count only once they are settled.
    """
    return standings_rows(archive_of(request).standings())


def archive_of(request: Request) -> Archive:
    """The archive."""
    return Archive(office_of(request).archive)


def kept_game(request: Request, number: int) -> dict[str, Any]:
    """A kept game. Raises Refusal where there is none of this number."""
    try:
        return archive_of(request).game(number)
    except ArchiveError as error:
        raise Refusal(404, str(error)) from error


def standings_rows(found: list[Standings]) -> list[dict[str, Any]]:
    """Of each game sheet, its games and a row for each player."""
    return [
        {
            "game": standings.scope[0],
            "games": standings.games,
            "open": standings.open,
            "players": [
                {
                    "player": player,
                    "games": played.games,
                    "wins": played.wins,
                    "best": played.best,
                    "mean": round(played.mean, 1),
                }
                for player, played in standings.ranked()
            ],
        }
        for standings in found
    ]
