"""Letting phones in, and out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request, Response

from desk.web.errors import Refusal

router = APIRouter()


@router.post("/invitations", status_code=201, summary="A key with which one more phone may join")
def invite(request: Request) -> dict[str, Any]:
    """The address to open there, and the same as a QR code."""
    if not request.app.state.door.needs_session:
        raise Refusal(
            409, "This desk is open on this machine only. Start it with --lan for phones."
        )
    make: Callable[[], tuple[str, str]] = request.app.state.invite
    address, svg = make()
    return {"address": address, "qr": svg}


@router.delete(
    "/session", status_code=204, summary="End this phone's session", response_class=Response
)
def leave(request: Request) -> Response:
    """The phone needs a new key to come back."""
    request.app.state.sessions.end(request.scope.get("session", ""))
    return Response(status_code=204)
