"""The description of the API for people and programs. Everything is served from here: the page makes no request to any other host."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import msgspec
from fastapi import APIRouter, Request
from starlette.responses import FileResponse, Response

from api.errors import Answer

router = APIRouter(include_in_schema=False)

_POLICY = (
    b"default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    b"connect-src 'self'; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
CONTENT_POLICY = (b"content-security-policy", _POLICY)
PAGE = b"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Reedbed API</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/docs/swagger-ui.css">
</head>
<body>
<div id="api"></div>
<script src="/docs/swagger-ui-bundle.js"></script>
<script src="/docs/start.js"></script>
</body>
</html>
"""
START = b"""SwaggerUIBundle({
  url: "/openapi.json",
  dom_id: "#api",
  deepLinking: true,
  validatorUrl: null,
  presets: [SwaggerUIBundle.presets.apis],
});
"""


@router.get("/openapi.json")
async def openapi(request: Request) -> Response:
    """Return the description as OpenAPI 3.1."""
    return Answer(msgspec.json.encode(request.app.openapi()))


@router.get("/docs")
async def page() -> Response:
    """Return the page that shows the description."""
    return Answer(PAGE, headers=[CONTENT_POLICY], media=b"text/html; charset=utf-8")


@router.get("/docs/start.js")
async def start() -> Response:
    """Return the script that starts the page; the policy allows no script within it."""
    return Answer(START, media=b"text/javascript; charset=utf-8")


@router.get("/docs/swagger-ui.css")
async def sheet() -> Response:
    """Return the page's style sheet."""
    return FileResponse(packaged("swagger-ui.css"), media_type="text/css")


@router.get("/docs/swagger-ui-bundle.js")
async def bundle() -> Response:
    """Return the page's program."""
    return FileResponse(packaged("swagger-ui-bundle.js"), media_type="text/javascript")


def packaged(name: str) -> Path:
    """Return one of the files that the package ``fastapi-offline`` brings."""
    package = find_spec("fastapi_offline")
    if package is None or package.origin is None:
        raise FileNotFoundError(name)
    return Path(package.origin).parent / "static" / name
