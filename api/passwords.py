"""Passwords of local accounts: which are taken, how they are kept, and how one is compared with what is kept."""

from __future__ import annotations

import secrets
import unicodedata
from base64 import b64encode
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from threading import BoundedSemaphore
from typing import Protocol

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from zxcvbn import zxcvbn  # type: ignore[import-untyped]

from api.errors import Busy
from domain.errors import RuleBroken

SHORTEST = 12
"""Characters after normalisation. ASVS 5.0, 6.2.1 asks for eight and recommends fifteen."""
LONGEST = 256
"""Characters after normalisation; ASVS 5.0, 6.2.9 asks that sixty-four are taken."""
FEWEST_GUESSES = 10**8
"""What an attacker who knows the common passwords needs at least, by zxcvbn's estimate; its own word for more is "safely unguessable"."""
PRODUCT_NAME = "Reedbed"

_LONGEST_RAW = 4 * LONGEST
"""No text of ``LONGEST`` characters is longer than this in any form; of longer ones not even the form is computed."""
_ESTIMATED = 20
"""Characters that the estimate looks at at once: its time grows steeply with length."""
_NAME_AT_LEAST = 4
"""Letters of a name that is looked for as a whole; shorter ones are in too many honest words."""
_WORD_AT_LEAST = 6
"""Letters of a part of a name that is looked for alone: "Marshlight" of "Marshlight Trust"."""


@dataclass(frozen=True, slots=True)
class Costs:
    """What one hash costs: memory [KiB], passes over it, lanes. The default takes 64 MiB and about 150 ms on a small server.

    Source:
        RFC 9106, section 4, second recommended option.
    """

    memory_kib: int = 64 * 1024
    passes: int = 3
    lanes: int = 4

    def hasher(self) -> PasswordHasher:
        """Return Argon2id at this cost."""
        return PasswordHasher(time_cost=self.passes, memory_cost=self.memory_kib, parallelism=self.lanes)


class Hasher(Protocol):
    """What is needed of an Argon2 hasher."""

    def hash(self, password: bytes) -> str:
        """Return a new hash."""

    def verify(self, hash: str, password: bytes) -> bool:  # noqa: A002 - the library's name
        """Return true or raise."""

    def check_needs_rehash(self, hash: str) -> bool:  # noqa: A002 - the library's name
        """Say whether a hash has other costs."""


DEFAULT_COSTS = Costs()


class Passwords:
    """Hashes and compares. One service has one of these, since it is what bounds the memory that hashing takes.

    At most ``at_once`` hashes are computed at a time and ``waiting`` callers stand in line for up to ``wait_s`` [s]. The calls block:
    they are for threads, and the line is short so that it does not use those up.
    """

    def __init__(
        self, costs: Costs = DEFAULT_COSTS, *, at_once: int = 2, waiting: int = 8, wait_s: float = 3.0, hasher: Hasher | None = None
    ) -> None:
        self._hasher = hasher or costs.hasher()
        self._nobodys = _nobodys_hash(costs)
        self._line = BoundedSemaphore(at_once + waiting)
        self._turns = BoundedSemaphore(at_once)
        self._wait_s = wait_s

    def hashed(self, password: str) -> str:
        """Return a new hash of a password as Argon2's own text, with its salt and costs.

        Raises:
            Busy: Too many are being hashed.
            ValueError: It is a password that ``refuse_weak`` refuses for its length or a broken character.
        """
        told = _told(password)
        if told is None:
            raise ValueError("this is no password that can be kept")
        with self._turn():
            return self._hasher.hash(told)

    def matches(self, stored: str | None, password: str) -> bool:
        """Say whether a password is the one whose hash is stored.

        ``stored`` is None for an unknown account, or one without a password: nothing matches it, and finding that out takes as long as
        comparing with a hash of the present costs.

        Raises:
            Busy: Too many are being hashed.
            argon2.exceptions.InvalidHashError: What is stored is no hash.
        """
        told = _told(password)
        against = self._nobodys if stored is None or told is None else stored
        with self._turn():
            try:
                return self._hasher.verify(against, told or b"") and against is stored
            except VerifyMismatchError:
                return False

    def needs_rehash(self, stored: str) -> bool:
        """Say whether a stored hash has other costs than new ones get; after a match it is then replaced."""
        return self._hasher.check_needs_rehash(stored)

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if not self._line.acquire(blocking=False):
            raise Busy("Too many people are signing in at this moment; try again in a moment.")
        try:
            if not self._turns.acquire(timeout=self._wait_s):
                raise Busy("Too many people are signing in at this moment; try again in a moment.")
            try:
                yield
            finally:
                self._turns.release()
        finally:
            self._line.release()


def refuse_weak(password: str, *, said_about: Sequence[str]) -> None:
    """Refuse a password that others would guess.

    Any character is taken, and nothing is asked about kinds of characters. ``said_about`` are names that everybody knows here: the
    organisation's and the one that the account signs in with; the product's is always among them. Letters are compared without case,
    and without what stands between them.

    Raises:
        RuleBroken: It is too short or too long, contains such a name, is common, or is no text; the fault names the field ``password``.

    Source:
        OWASP ASVS 5.0, 6.2.1 to 6.2.11; the estimate: Wheeler 2016, zxcvbn, USENIX Security.
    """
    if len(password) > _LONGEST_RAW or len(normal := _normal(password)) > LONGEST:
        raise _refused("password-too-long", f"A password may have at most {LONGEST} characters.")
    if _told(password) is None:
        raise _refused("password-not-text", "This password contains half a character; type it again.")
    if len(normal) < SHORTEST:
        sentence = f"A password needs at least {SHORTEST} characters: four words that do not belong together are easy to remember."
        raise _refused("password-too-short", sentence)
    if _names_in(normal, said_about=[*said_about, PRODUCT_NAME]):
        sentence = "This password contains a name that everybody here knows; choose words that have nothing to do with it."
        raise _refused("password-says-name", sentence)
    if not _withstands_guessing(normal):
        sentence = "This password is one of those that are tried first; four words that do not belong together are better."
        raise _refused("password-common", sentence)


def _refused(code: str, sentence: str) -> RuleBroken:
    return RuleBroken(sentence, code=code, field="password")


def _normal(password: str) -> str:
    """Return a password in NFC: one keyboard sends é as one character, another as e and an accent, and the person sees no difference.

    Not NFKC, which would make different passwords equal. Nothing else is changed, trimmed or cut (RFC 8265, section 4.2).
    """
    return unicodedata.normalize("NFC", password)


def _told(password: str) -> bytes | None:
    if len(password) > _LONGEST_RAW or len(normal := _normal(password)) > LONGEST:
        return None
    try:
        return normal.encode()
    except UnicodeEncodeError:
        return None


def _names_in(normal: str, *, said_about: Sequence[str]) -> bool:
    letters = _letters(normal)
    return any(name in letters for said in said_about for name in _names(said))


def _names(said: str) -> Iterator[str]:
    whole = _letters(said)
    if len(whole) >= _NAME_AT_LEAST:
        yield whole
    apart = "".join(one if one.isalnum() else " " for one in unicodedata.normalize("NFKC", said))
    yield from (word for part in apart.split() if len(word := _letters(part)) >= _WORD_AT_LEAST)


def _letters(text: str) -> str:
    return "".join(one for one in unicodedata.normalize("NFKC", text).casefold() if one.isalnum())


def _withstands_guessing(normal: str) -> bool:
    """Say whether the stronger of a password's ends takes enough guesses; whoever needs them for a part needs them for the whole."""
    ends = {normal[:_ESTIMATED], normal[-_ESTIMATED:]}
    return any(zxcvbn(end)["guesses"] >= FEWEST_GUESSES for end in ends)


def _nobodys_hash(costs: Costs) -> str:
    """Return a hash at these costs that belongs to no password: what would have to come out is drawn at random."""
    salt, digest = (b64encode(secrets.token_bytes(length)).decode().rstrip("=") for length in (16, 32))
    return f"$argon2id$v=19$m={costs.memory_kib},t={costs.passes},p={costs.lanes}${salt}${digest}"
