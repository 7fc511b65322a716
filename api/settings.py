"""Settings from the environment: each is named REEDBED_ and the name below in capitals."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key
from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict
from sqlalchemy.engine import URL, make_url

from api.key_sets import ALGORITHMS
from api.seal_files import fault_of, warning_of

MEGABYTE = 1_000_000
MEGAPIXEL = 1_000_000
SHORTEST_PASSWORD = 12
WEAKEST_SCORE = 3
"""Of zxcvbn, from 0 to 4: at 3 a password withstands guessing offline for some time."""
SCORED_LENGTH = 72
"""Characters that zxcvbn looks at."""
FOR_OTHERS = 0o077
THIS_MACHINE = ("localhost", "127.0.0.1", "::1")
LONGEST_PUBLIC_URL = 63
"""With ``/v/`` and the longest number of a paper as much as the code on a paper holds."""
_LABEL = "[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?"
_HOST = rf"{_LABEL}(?:\.{_LABEL})*|\[[0-9A-Fa-f:.]+\]"
PUBLIC_ADDRESS = re.compile(rf"https?://(?:{_HOST})(?::[1-9][0-9]{{0,4}})?(?:/(?!\.{{1,2}}(?:/|$))[A-Za-z0-9._~-]+)*")
"""An address of the service without anything that is written in several ways, or that a browser would change."""

Count = Annotated[int, Field(ge=0, le=1_000_000)]
Seconds = Annotated[float, Field(ge=0, le=3600)]


def _is_secure(address: str) -> bool:
    try:
        parsed = urlsplit(address)
    except ValueError:
        return False
    return bool(parsed.hostname) and (parsed.scheme == "https" or (parsed.scheme == "http" and parsed.hostname in THIS_MACHINE))


def _has_plain_port(address: str) -> bool:
    try:
        return urlsplit(address).port != 0
    except ValueError:
        return False


class TokenIssuer(BaseModel):
    """An issuer of access tokens, and the one organisation whose staff it speaks for.

    ``url`` is what its tokens say in ``iss``, and ``audience`` what they say in ``aud``. Where its keys are is asked of the issuer, unless
    ``keys_url`` says it. With ``JWT`` among the ``types`` tokens are taken that do not say that they are access tokens.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    url: str
    audience: Annotated[str, Field(min_length=1)]
    organisation_id: Annotated[int, Field(ge=1)]
    algorithms: Annotated[tuple[str, ...], Field(min_length=1)] = ("RS256", "ES256")
    keys_url: str | None = None
    required_scope: str | None = None
    types: Annotated[tuple[str, ...], Field(min_length=1)] = ("at+jwt", "application/at+jwt")

    @property
    def is_local(self) -> bool:
        """Whether it is asked without TLS, on this machine."""
        return any(address.startswith("http://") for address in (self.url, self.keys_url or ""))

    @field_validator("url", "keys_url")
    @classmethod
    def _secure(cls, address: str | None) -> str | None:
        if address is not None and not _is_secure(address):
            raise ValueError("an issuer's address begins with https://, or with http:// where it is on this machine")
        return address

    @field_validator("algorithms")
    @classmethod
    def _known(cls, algorithms: tuple[str, ...]) -> tuple[str, ...]:
        if not ALGORITHMS.issuperset(algorithms):
            raise ValueError(f"these should be among {', '.join(sorted(ALGORITHMS))}")
        return algorithms


class Settings(BaseSettings):
    """What can be set. Lists are JSON: ``REEDBED_ALLOWED_ORIGINS='["https://front.example"]'``.

    What is given by a file (``..._file``) is the first line of that file, which nobody but its owner may read.
    """

    model_config = SettingsConfigDict(env_prefix="REEDBED_", frozen=True, extra="ignore", hide_input_in_errors=True)

    database_url: Annotated[str, Field(repr=False)] = "sqlite:///reedbed.sqlite3"
    """The database; on PostgreSQL with the role of the service."""
    database_url_file: Path | None = None
    owner_database_url: Annotated[str | None, Field(repr=False)] = None
    """The database with the role that owns the tables; only ``reedbed migrate`` uses it. Absent: the same as ``database_url``."""
    owner_database_url_file: Path | None = None
    accept_volatile_database: bool = False
    """Serve from a PostgreSQL that may forget what it confirmed. For tests alone."""
    signing_key_file: Path | None = None
    """The Ed25519 private key [PEM] that signs the journal's checkpoints."""
    checkpoint_folder: Path | None = None
    """The second place where signed checkpoints are written down, which the database's keeper should not be able to change."""
    seal_file: Path | None = None
    """The private key and the certificate (PKCS#12) that seal papers which leave the house. Absent: they bear no seal, and say so."""
    seal_password: Annotated[str | None, Field(repr=False)] = None
    seal_password_file: Path | None = None
    server_number: Annotated[int, Field(ge=0, le=4095)] = 1
    """Distinguishes servers whose organisations may one day stand in one database."""

    host: Annotated[str, Field(min_length=1)] = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] = 8000
    allowed_origins: tuple[str, ...] = ()
    """Origins of front ends whose scripts may call, each exactly as the browser says it."""
    trusted_hosts: tuple[str, ...] = ()
    """Names by which the service may be called, without ports; empty: any."""
    trusted_proxies: tuple[str, ...] = ()
    """Addresses or networks of proxies whose word about the caller's address and scheme is taken; empty: nobody's."""
    behind_tls: bool = False
    """Whether a proxy ends TLS before this service; then browsers are told to come by TLS only."""
    public_url: Annotated[str, Field(max_length=LONGEST_PUBLIC_URL)] | None = None
    """Where others reach the service, https://, or http:// on this machine: papers that leave the house lead there to be checked. Absent:
    they say to ask whoever issued them."""
    show_docs: bool = True
    """Whether ``/docs`` and ``/openapi.json`` are served."""
    max_body_bytes: Annotated[int, Field(ge=1024)] = MEGABYTE
    max_upload_bytes: Annotated[int, Field(ge=1024)] = 20 * MEGABYTE

    document_folder: Path | None = None
    """Where the files of documents lie. Absent: beside a SQLite file, in a folder of its name and ``.documents``; with PostgreSQL nowhere,
    so that no document is taken: only its keeper knows a folder that every process sees."""
    document_bucket: str | None = None
    """The bucket of a store that speaks S3 where the files lie instead. Needs the extra ``s3`` and a key."""
    document_endpoint: str | None = None
    """The store's address, https://, or http:// on this machine. Absent: that of the cloud that S3 is from."""
    document_region: Annotated[str, Field(min_length=1)] = "us-east-1"
    document_access_key_id: str | None = None
    document_secret_key: Annotated[str | None, Field(repr=False)] = None
    document_secret_key_file: Path | None = None
    max_document_bytes: Annotated[int, Field(ge=1024, le=1000 * MEGABYTE)] = 25 * MEGABYTE
    """Of the file of a document, as it comes."""
    max_picture_pixels: Annotated[int, Field(ge=1024, le=1000 * MEGAPIXEL)] = 49 * MEGAPIXEL
    """Of a picture, as many as cameras of 48 megapixels make; all pages of a scan may have four times as many."""

    pool_size: Annotated[int, Field(ge=1, le=200)] = 8
    """Connections to PostgreSQL for reading and as many for writing; one more looks after the database."""
    work_threads: Annotated[int, Field(ge=1, le=16)] = 2
    work_waiting: Annotated[int, Field(ge=1, le=10_000)] = 64
    """Pieces of background work that may wait in line; what is asked for beyond it waits on record until the line is empty."""
    requests_at_work: Count | None = None
    """Requests that one process works on at a time, and as many more may wait. Absent: twice ``pool_size``. 0: any number."""
    request_wait_s: Seconds = 0.5
    """How long a request may wait for its turn [s]."""
    request_deadline_s: Seconds = 15.0
    """When a read is given up, and a write is not begun any more [s]. 0: never."""
    max_connections: Annotated[int, Field(ge=1, le=100_000)] = 512
    """Connections that are served; on further ones every request is refused."""
    stop_grace_s: Seconds = 5.0
    """How long the service says that it will stop, and goes on serving, before it takes no more connections [s]."""
    stop_within_s: Seconds = 20.0
    """How long requests at work, and then background work, may take to finish [s]."""
    min_free_disk_bytes: Annotated[int, Field(ge=0)] = 100 * MEGABYTE
    """Free space beside a SQLite file below which the service says that it is not ready, and in a folder of documents below which it takes
    none."""

    requests_per_minute: Count = 600
    """Of one credential, and as many at once after a rest. 0: any number; so for every limit below."""
    organisation_requests_per_minute: Count = 2400
    imports_per_hour: Count = 10
    """Of one organisation."""
    sign_ins_per_minute: Count = 10
    """Attempts to sign in under one account's name; beyond them each waits longer, up to a minute."""
    address_sign_ins_per_minute: Count = 30
    """Attempts to sign in from one address; beyond them each waits longer, up to a minute."""

    paper_checks_per_minute: Count = 120
    """Look-ups of papers by their numbers from one address."""

    token_issuers: tuple[TokenIssuer, ...] = ()
    """Whose access tokens are taken; see ``TokenIssuer`` for the members. Their holders need accounts here with that identity."""

    metrics_port: Annotated[int, Field(ge=0, le=65535)] = 0
    """Where the figures for Prometheus are served; 0: nowhere."""
    metrics_host: Annotated[str, Field(min_length=1)] = "127.0.0.1"
    log_level: Literal["debug", "info", "warning", "error"] = "info"
    log_form: Literal["auto", "json", "text"] = "auto"
    """``auto``: text on a terminal, JSON lines elsewhere."""

    @model_validator(mode="before")
    @classmethod
    def _read_secrets(cls, stated: Any) -> Any:  # noqa: ANN401 - whatever the sources gave
        read = dict(stated)
        for name in ("database_url", "owner_database_url", "document_secret_key", "seal_password"):
            path = read.get(f"{name}_file")
            if path and name in read:
                raise ValueError(f"REEDBED_{name.upper()} and REEDBED_{name.upper()}_FILE are both set; one of them is enough")
            if path:
                read[name] = _secret_of(name, Path(path))
        return read

    @field_validator("token_issuers")
    @classmethod
    def _distinct(cls, issuers: tuple[TokenIssuer, ...]) -> tuple[TokenIssuer, ...]:
        if len({issuer.url for issuer in issuers}) != len(issuers):
            raise ValueError("two issuers have the same url")
        if len({issuer.is_local for issuer in issuers}) > 1:
            raise ValueError("an issuer that is asked without TLS on this machine cannot stand beside others")
        return issuers

    @field_validator("public_url")
    @classmethod
    def _plain(cls, address: str | None) -> str | None:
        if address is None:
            return None
        if not _is_secure(address):
            raise ValueError("REEDBED_PUBLIC_URL begins with https://, or with http:// where it is on this machine")
        if not PUBLIC_ADDRESS.fullmatch(address) or not _has_plain_port(address):
            raise ValueError(
                "REEDBED_PUBLIC_URL is a scheme, a name or address, where need be a port from 1 to 65535 and a path of letters, digits and "
                "-._~, with no slash at its end: https://records.example/reedbed"
            )
        return address

    @model_validator(mode="after")
    def _password_of_a_seal(self) -> Settings:
        if self.seal_file is None and self.seal_password is not None:
            raise ValueError("REEDBED_SEAL_FILE says which file the seal's password is for")
        return self

    @model_validator(mode="after")
    def _one_place_for_documents(self) -> Settings:
        key = (self.document_access_key_id, self.document_secret_key)
        if self.document_bucket is None and any((self.document_endpoint, *key)):
            raise ValueError("REEDBED_DOCUMENT_BUCKET says which bucket the store's address and key are for")
        if self.document_bucket is not None and self.document_folder is not None:
            raise ValueError("REEDBED_DOCUMENT_FOLDER and REEDBED_DOCUMENT_BUCKET are both set; documents lie in one place")
        if self.document_bucket is not None and not all(key):
            raise ValueError("REEDBED_DOCUMENT_BUCKET needs REEDBED_DOCUMENT_ACCESS_KEY_ID and REEDBED_DOCUMENT_SECRET_KEY_FILE")
        if self.document_endpoint is not None and not _is_secure(self.document_endpoint):
            raise ValueError("REEDBED_DOCUMENT_ENDPOINT begins with https://, or with http:// where it is on this machine")
        return self

    @property
    def most_at_work(self) -> int:
        """How many requests one process works on at a time; 0: any number."""
        return 2 * self.pool_size if self.requests_at_work is None else self.requests_at_work


def read_secret(path: Path) -> str:
    """Return the secret that a file holds: its first line.

    Raises:
        ValueError: It cannot be read, is empty, or others than its owner may read it. The secret is not in the sentence.
    """
    if fault := openness(path):
        raise ValueError(fault)
    try:
        secret = path.read_text(encoding="utf-8").partition("\n")[0].strip()
    except (OSError, UnicodeDecodeError):
        raise ValueError(f"the file {path} cannot be read") from None
    if not secret:
        raise ValueError(f"the file {path} is empty")
    return secret


def _secret_of(name: str, path: Path) -> str:
    try:
        return read_secret(path)
    except ValueError as unusable:
        raise ValueError(f"REEDBED_{name.upper()}_FILE: {unusable}") from None


def weaknesses(settings: Settings) -> list[str]:
    """Return a sentence for each setting that a service must not start with; none of them contains a secret."""
    return [*_weak_passwords(settings), *_weak_key(settings.signing_key_file), *_weak_seal(settings)]


def warnings(settings: Settings, *, now: datetime) -> list[str]:
    """Return a sentence for each setting without weaknesses that its keeper should see to, though a service starts with it ``now``."""
    if settings.seal_file is None:
        return []
    warning = warning_of(settings.seal_file, settings.seal_password, now=now)
    return [f"REEDBED_SEAL_FILE: {warning}"] if warning else []


def _weak_passwords(settings: Settings) -> Iterator[str]:
    for name in ("database_url", "owner_database_url"):
        stated = getattr(settings, name)
        fault = _weakness_of(make_url(stated)) if stated else ""
        if fault:
            yield f"REEDBED_{name.upper()}: {fault}"


def _weakness_of(url: URL) -> str:
    """Return what is wrong with a database's password; nothing is where only this machine can reach the database."""
    query_host = url.query.get("host", "")
    host = url.host or (query_host if isinstance(query_host, str) else query_host[0])
    if url.get_backend_name() == "sqlite" or not host or host.startswith("/") or host in THIS_MACHINE:
        return ""
    password = url.password or ""
    if not password:
        return "a database on another machine needs a password"
    if len(password) < SHORTEST_PASSWORD:
        return f"the database's password has fewer than {SHORTEST_PASSWORD} characters"
    from zxcvbn import zxcvbn  # type: ignore[import-untyped]  # noqa: PLC0415 - its word lists take long to load, and few need them

    names = [name for name in (url.username, url.database, host, "reedbed", "changeme", "example", "secret") if name]
    if zxcvbn(password[:SCORED_LENGTH], user_inputs=names)["score"] < WEAKEST_SCORE:
        return "the database's password is easy to guess; let a program make one at random"
    return ""


def _weak_key(path: Path | None) -> Iterator[str]:
    if path is None:
        return
    fault = openness(path)
    if not fault:
        try:
            key: object = load_pem_private_key(path.read_bytes(), password=None)
        except (OSError, ValueError, TypeError) as unusable:
            key = unusable
        if isinstance(key, OSError):
            fault = f"the file {path} cannot be read"
        elif not isinstance(key, Ed25519PrivateKey):
            fault = f"the file {path} holds no Ed25519 private key (PEM, without a passphrase)"
        elif len(set(key.private_bytes_raw())) == 1:
            fault = f"the key in {path} is an example, not a secret"
    if fault:
        yield f"REEDBED_SIGNING_KEY_FILE: {fault}"


def _weak_seal(settings: Settings) -> Iterator[str]:
    path = settings.seal_file
    if path is None:
        return
    fault = openness(path) or fault_of(path, settings.seal_password)
    if fault:
        yield f"REEDBED_SEAL_FILE: {fault}"


def openness(path: Path) -> str:
    """Return the sentence about a file that others may read; a missing file is nobody's."""
    if os.name != "posix" or not path.is_file():
        return ""
    return f"others may read the file {path}; set its mode to 600" if path.stat().st_mode & FOR_OTHERS else ""
