"""Codes by which the holder of an account sets a password: made at random, told once, typed by a person."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta
from hashlib import sha256

from domain.actions.accounts import Code

LASTS = timedelta(hours=72)
"""How long a code is good."""
GROUPS, GROUP = 7, 4
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Without those that look alike. Twenty-eight are 138 bits: nobody guesses that, and a fast hash is enough (ASVS 5.0, 6.5.2, 11.5.1)."""


def new_code(now: datetime) -> tuple[str, Code]:
    """Return a code as it is told, once, and what is kept of it."""
    text = "-".join("".join(secrets.choice(_SIGNS) for _ in range(GROUP)) for _ in range(GROUPS))
    return text, Code(code_sha256(text), now + LASTS)


def code_sha256(text: str) -> str:
    """Return the digest by which a code is known, however it was typed: capitals, blanks and hyphens do not matter."""
    return sha256("".join(text.lower().replace("-", " ").split()).encode(errors="surrogatepass")).hexdigest()
