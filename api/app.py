"""The service put together. Nothing happens at import, and nothing is opened before the service starts."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any, cast

from fastapi import APIRouter, FastAPI
from fastapi.routing import APIRoute, RouteContext, iter_route_contexts
from starlette.middleware import Middleware

import migrations
from api import docs
from api.admission import Admission
from api.computing import Computing
from api.context import House, Passing
from api.doors import Door, Doorway
from api.envelope import Crossing, Envelope, KnownHosts
from api.errors import HANDLERS
from api.filing.places import files_of
from api.issuing import Press
from api.limits import BodyLimit, Limits
from api.logs import RequestLog
from api.metrics import CountedStore
from api.openapi import describe
from api.paper_refusals import ReadableRefusals
from api.permissions import Permissions, permissions, refuse_undeclared
from api.reading_log import refuse_unlogged
from api.routes import (
    accounts,
    animal_lives,
    animals,
    approvals,
    broods,
    calendars,
    census,
    competences,
    compliance,
    containments,
    documents,
    enclosures,
    equipment,
    equipment_models,
    fitness,
    forecasts,
    grants,
    health,
    holdings,
    imports,
    incidents,
    inspections,
    jurisdictions,
    keys,
    kinship,
    life_support_systems,
    marks,
    me,
    measurements,
    organisation,
    overrides,
    papers,
    passwords,
    permits,
    premises,
    readings,
    reminders,
    reports,
    requirements,
    retention,
    sessions,
    sites,
    spares,
    staff,
    taxa,
    transfer_files,
    transfers,
)
from api.settings import Settings
from api.token_door import door_of
from api.uses import EVERY_S
from api.work import Work
from domain.records.engine import Store

API_VERSION = "1"
"""What ``/v1`` in the paths says; within it the description only grows."""

DOORS: tuple[Door, ...] = (
    *me.DOORS,
    *organisation.DOORS,
    *sites.DOORS,
    *enclosures.DOORS,
    *life_support_systems.DOORS,
    *staff.DOORS,
    *competences.DOORS,
    *taxa.DOORS,
    *containments.DOORS,
    *jurisdictions.DOORS,
    *requirements.DOORS,
    *animals.DOORS,
    *animal_lives.DOORS,
    *fitness.DOORS,
    *marks.DOORS,
    *measurements.DOORS,
    *kinship.DOORS,
    *holdings.DOORS,
    *broods.DOORS,
    *permits.DOORS,
    *premises.DOORS,
    *overrides.DOORS,
    *inspections.DOORS,
    *incidents.DOORS,
    *transfers.DOORS,
    *transfer_files.DOORS,
    *reminders.DOORS,
    *calendars.DOORS,
    *census.DOORS,
    *compliance.DOORS,
    *equipment_models.DOORS,
    *equipment.DOORS,
    *readings.DOORS,
    *spares.DOORS,
    *forecasts.DOORS,
    *reports.DOORS,
    *imports.DOORS,
    *documents.DOORS,
    *retention.DOORS,
    *approvals.DOORS,
    *sessions.DOORS,
    *passwords.DOORS,
    *accounts.DOORS,
    *grants.DOORS,
    *keys.DOORS,
)
ROUTERS: tuple[APIRouter, ...] = (health.router, docs.router, imports.router, documents.router, calendars.router, papers.router)
"""Routes of FastAPI's own kind."""

RESUMES = (imports.resume, reports.resume)
"""What takes up the work on record that is unfinished: at the start, and whenever some was left over."""

TAKEN_HEADERS = (
    "Authorization",
    "Content-Type",
    "If-Match",
    "If-None-Match",
    "Idempotency-Key",
    "Reedbed-On-Behalf-Of",
    "Reedbed-Reason",
    "X-Request-Id",
)
SHOWN_HEADERS = ("ETag", "Link", "Location", "Content-Disposition", "Retry-After", "X-Request-Id", "Idempotency-Replayed")
PREFLIGHT_SECONDS = 600
HASHING_THREADS = 16
"""More than may wait for their turn to hash a password, so that whoever comes on top is told so and does not wait unseen."""


class Reedbed(FastAPI):
    """The service's application; its description knows the doors as well."""

    def openapi(self) -> dict[str, Any]:
        """Return the OpenAPI description, made once."""
        if not self.openapi_schema:
            self.openapi_schema = describe(self, DOORS)
        return self.openapi_schema


def build_app(
    store: Store,
    *,
    settings: Settings,
    clock: Callable[[], datetime],
    log: RequestLog | None = None,
    known: Permissions | None = None,
) -> FastAPI:
    """Return the service over a store.

    ``clock`` gives the present instant, aware and in UTC; ``log`` gets a line for each request; ``known`` says who may do what, and is the
    committed matrix where it is left out.

    Raises:
        Undeclared: A route has no action that the matrix knows, and is not public.
    """
    work = Work(threads=settings.work_threads, waiting=settings.work_waiting)
    house = House(store, settings, clock, work, limits=Limits.of(settings), tokens=door_of(settings.token_issuers))
    house.permissions = replace(known or permissions(), bodies=_bodies())
    house.store = cast("Store", CountedStore(store, house.metrics))
    house.files = files_of(settings, store)
    house.press = Press.of(settings)
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
        middleware=_layers(house, log),
        exception_handlers=dict(HANDLERS),
    )
    app.state.house, app.state.work, app.state.readiness = house, work, health.Readiness()
    app.state.resume = work.resumes = [partial(resume, house) for resume in RESUMES]
    for router in ROUTERS:
        if router is not docs.router or settings.show_docs:
            app.include_router(router)
    app.router.routes.extend(door.route() for door in DOORS)
    refuse_undeclared(actions_of(app), house.permissions)
    refuse_unlogged(DOORS, house.permissions)
    return app


def _bodies() -> dict[str, list[str]]:
    """Return the fields of the body that each action takes; a correction does not take an id."""
    taken = {door.action: (door.body.model_fields, door.method) for door in DOORS if door.body is not None and door.action is not None}
    return {action: [name for name in fields if method != "PATCH" or name != "id"] for action, (fields, method) in taken.items()}


def actions_of(app: FastAPI) -> list[tuple[str, str | None]]:
    """Return every route of an app, as its method and path, and the action that it is for, ``None`` where it says none."""
    of_doors = {f"{door.method} {door.path}": door.action for door in DOORS}
    routes = [(f"{method} {route.path}", route) for route in iter_route_contexts(app.routes) for method in sorted(route.methods or ())]
    return [(name, of_doors.get(name) or _action_of(route)) for name, route in routes]


def _action_of(route: RouteContext) -> str | None:
    asked = [dependency.call.action for dependency in route.dependant.dependencies if isinstance(dependency.call, Passing)]
    return asked[0] if asked else None


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    house: House = app.state.house
    house.schema_head = migrations.head()
    # One writer at a time is all that SQLite has; more threads would only wait for each other.
    threads = 1 if house.store.dialect == "sqlite" else house.settings.pool_size
    async with AsyncExitStack() as ends:
        await house.store.open()
        ends.push_async_callback(house.store.close_reads)
        house.writers = ends.enter_context(ThreadPoolExecutor(threads, thread_name_prefix="write"))
        house.computing = ends.enter_context(Computing.of(house.settings))
        house.filing = ends.enter_context(Computing.of(house.settings, name="filing"))
        house.hashers = ends.enter_context(ThreadPoolExecutor(HASHING_THREADS, thread_name_prefix="hash"))
        house.work.start()
        ends.callback(house.work.stop, within_s=house.settings.stop_within_s)
        for unfinished in app.state.resume:
            house.work.submit(unfinished)
        noting = asyncio.create_task(_write_down_uses(house))
        ends.push_async_callback(_write_down_uses_last, house, noting)
        yield


async def _write_down_uses_last(house: House, noting: asyncio.Task[None]) -> None:
    noting.cancel()
    await asyncio.to_thread(house.uses.write_down, house.store, now=house.clock())


async def _write_down_uses(house: House) -> None:
    while True:
        await asyncio.sleep(EVERY_S)
        await asyncio.to_thread(house.uses.write_down, house.store, now=house.clock())


def _layers(house: House, log: RequestLog | None) -> list[Middleware]:
    settings, origins = house.settings, house.settings.allowed_origins
    crossing = Middleware(
        Crossing,
        allow_origins=origins,
        allow_methods=("GET", "HEAD", "POST", "PATCH"),
        allow_headers=TAKEN_HEADERS,
        expose_headers=SHOWN_HEADERS,
        max_age=PREFLIGHT_SECONDS,
    )
    inner = [Middleware(Doorway, house=house, doors=DOORS), Middleware(BodyLimit, settings=house.settings)]
    outer = [
        Middleware(ReadableRefusals),
        Middleware(Envelope, settings=settings, metrics=house.metrics, log=log, draining=house.draining),
        *([Middleware(KnownHosts, hosts=settings.trusted_hosts)] if settings.trusted_hosts else []),
        Middleware(Admission, settings=settings, metrics=house.metrics),
    ]
    return [*outer, *([crossing] if origins else []), *inner]


def _name_of(route: APIRoute) -> str:
    return route.name
