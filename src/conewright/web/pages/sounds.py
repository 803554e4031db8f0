"""The test sounds as files, to be played by a phone or copied to a stick."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import FileResponse, Response

from conewright.sound.sounds import LIMIT, SOUNDS
from conewright.sound.wav import sound_file
from conewright.web.base.errors import Refusal

__all__ = ["router"]

router = APIRouter()

A_DAY = "private, max-age=86400"


@router.api_route("/sounds/{name}.wav", methods=["GET", "HEAD"])
def sound(name: str) -> Response:
    """Give a test sound, whole or the part that a player asks for."""
    known = SOUNDS.get(name)
    if known is None:
        raise Refusal(404, f"There is no such sound; there are {', '.join(SOUNDS)}.")
    headers = {
        "Cache-Control": A_DAY,
        "X-Sound-Seconds": f"{known.seconds:g}",
        "X-Sound-Peak": f"{known.peak:g} dBFS",
        "X-Sound-Limit": LIMIT,
    }
    return FileResponse(sound_file(name), media_type="audio/wav", headers=headers)
