"""The service put together. Nothing happens at import, and nothing is opened before the service starts."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial
from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute
from starlette.middleware import Middleware
from starlette.middleware.cors import CORSMiddleware

import migrations
from api import docs
from api.context import House
from api.doors import Door, Doorway
from api.envelope import Envelope
from api.errors import HANDLERS
from api.limits import BodyLimit
from api.openapi import describe
from api.routes import (
    animals,
    enclosures,
    equipment,
    equipment_models,
    forecasts,
    health,
    imports,
    life_support_systems,
    organisation,
    readings,
    reports,
    sites,
    spares,
    staff,
    taxa,
)
from api.settings import Settings
from api.work import Work
from domain.records.engine import Store

API_VERSION = "1"
"""What ``/v1`` in the paths says; within it the description only grows."""

DOORS: tuple[Door, ...] = (
    *organisation.DOORS,
    *sites.DOORS,
    *enclosures.DOORS,
    *life_support_systems.DOORS,
    *staff.DOORS,
    *taxa.DOORS,
    *animals.DOORS,
    *equipment_models.DOORS,
    *equipment.DOORS,
    *readings.DOORS,
    *spares.DOORS,
    *forecasts.DOORS,
    *reports.DOORS,
    *imports.DOORS,
)
ROUTERS: tuple[APIRouter, ...] = (health.router, docs.router, imports.router)
"""Routes of FastAPI's own kind."""

RESUMES = (imports.resume, reports.resume)
"""What takes up the work on record that is unfinished: at the start, and whenever some was left over."""

TAKEN_HEADERS = ("Authorization", "Content-Type", "If-Match", "If-None-Match", "Idempotency-Key", "X-Request-Id")
SHOWN_HEADERS = ("ETag", "Link", "Location", "Content-Disposition", "Retry-After", "X-Request-Id", "Idempotency-Replayed")
PREFLIGHT_SECONDS = 600


class Reedbed(FastAPI):
    """The service's application; its description knows the doors as well."""

    def openapi(self) -> dict[str, Any]:
        """Return the OpenAPI description, made once."""
        if not self.openapi_schema:
            self.openapi_schema = describe(self, DOORS)
        return self.openapi_schema


def build_app(store: Store, *, settings: Settings, clock: Callable[[], datetime]) -> FastAPI:
    """Return the service over a store. ``clock`` gives the present instant, aware and in UTC."""
    work = Work(threads=settings.work_threads, waiting=settings.work_waiting)
    house = House(store, settings, clock, work)
    app = Reedbed(
        title="Reedbed",
        version=API_VERSION,
        description="Collection management for organisations that keep reptiles, amphibians and fish on several sites.",
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=_name_of,
        lifespan=_lifespan,
        middleware=_layers(house),
        exception_handlers=dict(HANDLERS),
    )
    app.state.house, app.state.work = house, work
    app.state.resume = work.resumes = [partial(resume, house) for resume in RESUMES]
    for router in ROUTERS:
        app.include_router(router)
    app.router.routes.extend(door.route() for door in DOORS)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    house: House = app.state.house
    house.schema_head = migrations.head()
    # One writer at a time is all that SQLite has; more threads would only wait for each other.
    threads = 1 if house.store.dialect == "sqlite" else house.settings.pool_size
    house.writers = ThreadPoolExecutor(threads, thread_name_prefix="write")
    await house.store.open()
    house.work.start()
    for unfinished in app.state.resume:
        house.work.submit(unfinished)
    try:
        yield
    finally:
        house.work.stop()
        house.writers.shutdown()
        house.writers = None
        await house.store.close_reads()


def _layers(house: House) -> list[Middleware]:
    origins = house.settings.allowed_origins
    crossing = Middleware(
        CORSMiddleware,
        allow_origins=origins,
        allow_methods=("GET", "HEAD", "POST", "PATCH"),
        allow_headers=TAKEN_HEADERS,
        expose_headers=SHOWN_HEADERS,
        max_age=PREFLIGHT_SECONDS,
    )
    inner = [Middleware(Doorway, house=house, doors=DOORS), Middleware(BodyLimit, settings=house.settings)]
    return [Middleware(Envelope), *([crossing] if origins else []), *inner]


def _name_of(route: APIRoute) -> str:
    return route.name
