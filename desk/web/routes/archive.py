"""Games that were kept, and standings."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from desk.archive import Archive
from desk.keeping.standings import Standings
from desk.web.errors import no_such
from desk.web.routes.asked import Number, Seat, office_of

router = APIRouter()


@router.get("/archive/games", summary="Games that were kept, the latest first")
def archive_games(
    request: Request, search: Annotated[str, Query(max_length=100)] = ""
) -> list[dict[str, Any]]:
    """With ``search``, those whose game, player or date has these words."""
    kept = [
        {
            "id": game.id,
            "saved_at": game.saved_at,
            "game": game.sheet_name,
            "totals": dict(game.totals),
            "winners": list(game.winners),
            "evening": game.evening,
            "corrected": game.corrected,
        }
        for game in archive_of(request).games()
    ]
    words = search.lower().split()
    return [game for game in kept if all(word in haystack(game) for word in words)]


def haystack(game: dict[str, Any]) -> str:
    """What a search looks through."""
    return " ".join(
        [game["game"], game["saved_at"], game["evening"], *game["totals"], str(game["id"])]
    ).lower()


@router.get("/archive/games/{number}", summary="Everything that was kept of one game")
def archive_game(request: Request, number: Number) -> dict[str, Any]:
    """Readings, answers, claims, tally and what made them."""
    return kept_game(request, number)


@router.get(
    "/archive/games/{number}/boards/{seat}/photo.jpg",
    summary="A kept photo, upright, as large as a phone shows it",
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)
def archive_photo(request: Request, number: Number, seat: Seat) -> Response:
    """From the archive's own file."""
    from desk.web.kept_pictures import kept_jpeg

    archive = archive_of(request)
    return Response(kept_jpeg(archive, kept_game(request, number), seat), media_type="image/jpeg")


@router.get(
    "/archive/games/{number}/boards/{seat}/outlines", summary="Every cell's outline in a kept photo"
)
def archive_outlines(request: Request, number: Number, seat: Seat) -> dict[str, Any]:
    """Px of the picture, (0, 0) at its top left corner."""
    from desk.web.kept_pictures import kept_outlines

    return kept_outlines(archive_of(request), kept_game(request, number), seat)


@router.get("/archive/standings", summary="Who won how often, by player and game")
def standings(request: Request) -> list[dict[str, Any]]:
    """Games, wins (shared wins count), best and mean total, most wins first."""
    return standings_rows(archive_of(request).standings())


def archive_of(request: Request) -> Archive:
    """The archive."""
    return Archive(office_of(request).archive)


def kept_game(request: Request, number: int) -> dict[str, Any]:
    """A kept game. Raises Refusal where there is none of this number."""
    archive = archive_of(request)
    if number not in {game.id for game in archive.games()}:
        raise no_such("game in the archive")
    return archive.game(number)


def standings_rows(found: list[Standings]) -> list[dict[str, Any]]:
    """One row for each player of each game sheet."""
    return [
        {
            "game": standings.scope[0],
            "player": player,
            "games": played.games,
            "wins": played.wins,
            "best": played.best,
            "mean": round(played.mean, 1),
        }
        for standings in found
        for player, played in standings.ranked()
    ]
