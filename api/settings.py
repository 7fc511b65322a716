"""Settings from the environment: each is named REEDBED_ and the name below in capitals."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

MEGABYTE = 1_000_000


class Settings(BaseSettings):
    """What can be set. Lists are JSON: ``REEDBED_ALLOWED_ORIGINS='["https://front.example"]'``."""

    model_config = SettingsConfigDict(env_prefix="REEDBED_", frozen=True, extra="ignore")

    database_url: Annotated[str, Field(repr=False)] = "sqlite:///reedbed.sqlite3"
    """The database; on PostgreSQL with the role of the service."""
    owner_database_url: Annotated[str | None, Field(repr=False)] = None
    """The database with the role that owns the tables; only ``reedbed migrate`` uses it. Absent: the same as ``database_url``."""
    server_number: Annotated[int, Field(ge=0, le=4095)] = 1
    """Distinguishes servers whose organisations may one day stand in one database."""
    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] = 8000
    allowed_origins: tuple[str, ...] = ()
    """Origins of front ends whose scripts may call, each exactly as the browser says it."""
    max_body_bytes: Annotated[int, Field(ge=1024)] = MEGABYTE
    max_upload_bytes: Annotated[int, Field(ge=1024)] = 20 * MEGABYTE
    pool_size: Annotated[int, Field(ge=1, le=200)] = 8
    """Connections to PostgreSQL for reading and as many for writing."""
    work_threads: Annotated[int, Field(ge=1, le=16)] = 2
    work_waiting: Annotated[int, Field(ge=1, le=10_000)] = 64
    """Pieces of background work that may wait in line; what is asked for beyond it waits on record until the line is empty."""
