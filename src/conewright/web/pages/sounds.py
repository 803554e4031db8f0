"""The test sounds as files, to be played by a phone or copied to a stick."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, Response

from conewright.sound.played.sounds import LIMIT, SOUNDS, UNPLUGGED
from conewright.sound.played.wav import sound_file
from conewright.web.base.errors import Refusal
from conewright.web.frame.page import render

__all__ = ["router"]

router = APIRouter()

A_DAY = "private, max-age=86400"


@router.get("/sounds")
def every_sound(request: Request, unplugged: bool = False) -> Response:
    """Show all test sounds; those at full scale once somebody says that loudspeakers are off."""
    return render(
        request,
        "sounds.html",
        sounds=[sound for sound in SOUNDS.values() if unplugged or not sound.unplugged],
        limit=LIMIT,
        caution=UNPLUGGED,
        unplugged=unplugged,
    )


@router.api_route("/sounds/{name}.wav", methods=["GET", "HEAD"])
def sound(name: str, unplugged: bool = False, side: str = "both") -> Response:
    """Give a test sound, whole or the part that a player asks for."""
    known = SOUNDS.get(name)
    if known is None:
        raise Refusal(404, f"There is no such sound; there are {', '.join(SOUNDS)}.")
    if side not in known.sides:
        raise Refusal(404, f"There is no such version of it; there are {', '.join(known.sides)}.")
    if known.unplugged and not unplugged:
        raise Refusal(403, f"{UNPLUGGED} Say so on the page of the test sounds, and it is given.")
    headers = {
        "Cache-Control": A_DAY,
        "X-Sound-Seconds": f"{known.seconds:g}",
        "X-Sound-Peak": f"{known.peak:g} dBFS",
        "X-Sound-Limit": UNPLUGGED if known.unplugged else f"{LIMIT} {known.safe}",
    }
    return FileResponse(sound_file(name, side=side), media_type="audio/wav", headers=headers)
