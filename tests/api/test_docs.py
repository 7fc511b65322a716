"""The page for people: everything from here, nothing from elsewhere."""

from __future__ import annotations

import re

import pytest


def test_the_page_names_only_files_of_this_service(caller):
    visitor = caller(None)
    page = visitor.get("/docs")

    named = re.findall(r'(?:src|href)="([^"]+)"', page.text)
    assert page.headers["content-type"].startswith("text/html")
    assert all(one.startswith(("/docs/", "data:")) for one in named)
    assert all(visitor.get(one).status_code == 200 for one in named if one.startswith("/"))
    assert "<script>" not in page.text


def test_the_pages_policy_allows_no_other_host(caller):
    policy = caller(None).get("/docs").headers["Content-Security-Policy"]

    assert policy.startswith("default-src 'none'")
    assert "http" not in policy
    assert "script-src 'self';" in policy


@pytest.mark.parametrize("path", ["/docs/swagger-ui.css", "/docs/swagger-ui-bundle.js", "/docs/start.js"])
def test_assets_have_their_kind_and_are_not_guessed(caller, path):
    answer = caller(None).get(path)

    assert answer.headers["content-type"].startswith("text/css" if path.endswith("css") else "text/javascript")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_the_description_is_served(caller):
    assert caller(None).get("/openapi.json").json()["info"]["title"] == "Reedbed"
