"""The app: the doors, the API and the pages, put together around one store."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import RedirectResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from conewright.job.text.starter import job_schema
from conewright.store import Store
from conewright.web import api, api_files, pairing
from conewright.web.base.errors import handle_errors
from conewright.web.base.settings import Settings
from conewright.web.desk.cache import Kept
from conewright.web.desk.reports import Reports
from conewright.web.desk.waiting import PatientDoor
from conewright.web.doors.security import (
    BodyDoor,
    HeadAnswers,
    HeaderDoor,
    OriginDoor,
    SecureAnswers,
)
from conewright.web.doors.uploads import UploadDoor
from conewright.web.pages import routers
from conewright.web.pairing import PairedDoor, Pairing
from conewright.web.parts import bringing_in, shelf
from conewright.web.recording import kept_recordings, recorder

__all__ = ["create_app"]

STATIC = Path(__file__).parent / "static"
COMPONENTS = "#/components/schemas/"


def create_app(
    store: Store,
    *,
    lan: Pairing | None = None,
    settings: Settings | None = None,
    reports: Reports | None = None,
) -> FastAPI:
    """Return the pages and the API over a store.

    Args:
        store: where the jobs are kept; whoever gives it closes it.
        lan: how devices of the local network are let in; None for whoever sits at this computer.
        settings: limits, and the names and the port that the server is reached by.
        reports: answers shared with another app; whoever gives them closes them.

    """
    settings = settings or Settings()
    answers = reports or Reports(settings)
    app = _App(
        title="Conewright",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        redirect_slashes=False,
        lifespan=_closing(None if reports else answers),
        middleware=_doors(settings, store, paired_only=lan is not None),
    )
    app.state.settings = settings
    app.state.reports = answers
    app.state.store = store
    app.state.pages = Kept(settings.kept_pages)
    app.state.catalogues = Kept(settings.kept_catalogues)
    app.state.pairing = lan
    handle_errors(app)
    app.include_router(api_files.router)
    app.include_router(api.router)
    _mount_pages(app)
    return app


def _doors(settings: Settings, store: Store, *, paired_only: bool) -> list[Middleware]:
    """Return what every request passes, in this order."""
    paired = [Middleware(PairedDoor, store)] if paired_only else []
    return [
        Middleware(SecureAnswers),
        Middleware(HeadAnswers),
        Middleware(HeaderDoor, settings),
        Middleware(OriginDoor, settings),
        *paired,
        Middleware(UploadDoor, settings, store),
        Middleware(BodyDoor, settings),
        Middleware(PatientDoor),
        Middleware(GZipMiddleware, minimum_size=1000, compresslevel=4),
    ]


class _App(FastAPI):
    """An app whose published document holds the JSON Schema of a job."""

    def openapi(self) -> dict[str, Any]:
        """Return the OpenAPI document of the API, made once."""
        if self.openapi_schema is None:
            self.openapi_schema = _with_job_schema(super().openapi())
        return self.openapi_schema


def _closing(reports: Reports | None) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """Return what ends an app's own workers with it."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        if reports is not None:
            reports.close()

    return lifespan


class _Files(StaticFiles):
    """Our own scripts and styles: kept by a browser, which asks each time whether they changed."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        response.headers.setdefault("Cache-Control", "no-cache")
        return response


def _mount_pages(app: FastAPI) -> None:
    own = (pairing, recorder, kept_recordings, bringing_in, shelf)
    for router in (*(each.router for each in own), *routers):
        app.include_router(router, include_in_schema=False)
    app.add_api_route("/", lambda: RedirectResponse("/jobs", 303), include_in_schema=False)
    app.mount("/static", _Files(directory=STATIC), name="static")


def _with_job_schema(document: dict[str, Any]) -> dict[str, Any]:
    """Return an OpenAPI document with the JSON Schema of a job among its components.

    What a job is made of gets names of its own, `Job.Seat` and so on: a report has parts too.
    """
    schema = _renamed(job_schema())
    parts = schema.pop("$defs")
    del schema["$schema"]
    own = {"Job": schema} | {f"Job.{name}": part for name, part in parts.items()}
    components = document.setdefault("components", {}).setdefault("schemas", {})
    components.update(own)
    return document


def _renamed(node: Any) -> Any:
    """Return a schema whose references lead to the components."""
    if isinstance(node, dict):
        return {
            name: _target(value) if name == "$ref" else _renamed(value)
            for name, value in node.items()
        }
    if isinstance(node, list):
        return [_renamed(each) for each in node]
    return node


def _target(reference: str) -> str:
    return reference.replace("#/$defs/", f"{COMPONENTS}Job.")
