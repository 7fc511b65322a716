"""Which passwords are taken, how they are kept and compared, and how much hashing goes on at once."""

from __future__ import annotations

import re
import threading
import unicodedata
from concurrent.futures import ThreadPoolExecutor
from statistics import median
from time import perf_counter, thread_time

import pytest
from argon2.exceptions import InvalidHashError
from zxcvbn.frequency_lists import FREQUENCY_LISTS

from api.errors import Busy, problem_of
from api.passwords import DEFAULT_COSTS, LONGEST, SHORTEST, Costs, Passwords, refuse_weak
from domain.errors import RuleBroken

CHEAP = Costs(memory_kib=64, passes=1, lanes=1)
KNOWN = ["Marshlight Trust", "g.reed@marshlight.example"]
STRONG = "feed the newts at nine"
COMPOSED, DECOMPOSED = "caf\u00e9 au lait des grenouilles", "cafe\u0301 au lait des grenouilles"
LONG = "".join(chr(0x4E00 + 37 * number % 5000) for number in range(LONGEST))


class CountingHasher:
    """A real hasher that counts what it is asked to compute."""

    def __init__(self, costs):
        self._hasher = costs.hasher()
        self.computed = []

    def hash(self, password):
        self.computed.append("hash")
        return self._hasher.hash(password)

    def verify(self, stored, password):
        self.computed.append(stored.rsplit("$", 2)[0])
        return self._hasher.verify(stored, password)

    def check_needs_rehash(self, stored):
        return self._hasher.check_needs_rehash(stored)


class HeldHasher:
    """A hasher that goes on only when it is let, and knows how many were in it at once."""

    def __init__(self):
        self.let = threading.Event()
        self.inside = threading.Semaphore(0)
        self.most = 0
        self._now = 0
        self._lock = threading.Lock()

    def hash(self, _password):
        with self._lock:
            self._now += 1
            self.most = max(self.most, self._now)
        self.inside.release()
        self.let.wait(10)
        with self._lock:
            self._now -= 1
        return "done"


class CredulousHasher:
    """A hasher that finds every password right."""

    def verify(self, _stored, _password):
        return True


@pytest.fixture(scope="module")
def passwords():
    return Passwords(CHEAP)


def fault_of(password, *, said_about=KNOWN):
    """Return the code of what is wrong with a password; None when it is taken."""
    try:
        refuse_weak(password, said_about=said_about)
    except RuleBroken as refused:
        return refused.code
    return None


def test_a_password_matches_its_own_hash_and_no_other(passwords):
    stored = passwords.hashed(STRONG)

    assert passwords.matches(stored, STRONG) is True
    assert passwords.matches(stored, STRONG + " ") is False
    assert passwords.matches(stored, STRONG.upper()) is False
    assert passwords.matches(stored, "") is False


def test_two_hashes_of_one_password_differ(passwords):
    assert passwords.hashed(STRONG) != passwords.hashed(STRONG)


def test_a_hash_states_argon2id_and_its_costs(passwords):
    assert passwords.hashed(STRONG).startswith("$argon2id$v=19$m=64,t=1,p=1$")
    assert Costs() == Costs(memory_kib=65536, passes=3, lanes=4)


def test_the_default_costs_are_those_that_hashes_get():
    stored = Passwords().hashed(STRONG)

    assert stored.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert len(stored) <= 200
    assert Passwords().matches(stored, STRONG)


def test_a_hash_of_other_costs_matches_and_needs_to_be_replaced(passwords):
    dearer = Passwords(Costs(memory_kib=128, passes=1, lanes=1))
    stored = passwords.hashed(STRONG)

    assert dearer.matches(stored, STRONG)
    assert dearer.needs_rehash(stored)
    assert not dearer.needs_rehash(dearer.hashed(STRONG))


def test_one_keyboard_or_another_makes_the_same_password(passwords):
    assert COMPOSED != DECOMPOSED

    assert passwords.matches(passwords.hashed(COMPOSED), DECOMPOSED)
    assert passwords.matches(passwords.hashed(DECOMPOSED), COMPOSED)


def test_characters_that_merely_look_alike_make_another_password(passwords):
    assert not passwords.matches(passwords.hashed("\u2160 feed the newts"), "I feed the newts")


@pytest.mark.parametrize("length", [64, 72, 73, 128, LONGEST])
def test_every_character_of_a_long_password_counts(passwords, length):
    password = LONG[:length]
    stored = passwords.hashed(password)

    assert passwords.matches(stored, password)
    assert not passwords.matches(stored, password[:-1])
    assert not passwords.matches(stored, password[:-1] + "x")


@pytest.mark.parametrize("password", ["nul \x00 in the middle", "tab\tand\nnew line", "\N{FROG FACE}" * 12, " leading and trailing "])
def test_any_character_is_kept(passwords, password):
    assert passwords.matches(passwords.hashed(password), password)
    assert not passwords.matches(passwords.hashed(password), password.strip() + "!")


@pytest.mark.parametrize("password", ["\ud800" * 20, LONG + "x", "e\u0301" * (LONGEST + 1), "x" * 1_000_000])
def test_what_cannot_be_a_password_matches_nothing_and_costs_the_same(password):
    hasher = CountingHasher(CHEAP)
    passwords = Passwords(CHEAP, hasher=hasher)
    stored = passwords.hashed(STRONG)

    assert passwords.matches(stored, password) is False
    assert len(hasher.computed) == 2
    with pytest.raises(ValueError, match="no password"):
        passwords.hashed(password)


@pytest.mark.parametrize("costs", [CHEAP, DEFAULT_COSTS], ids=["cheap", "default"])
def test_an_unknown_account_costs_as_much_hashing_as_a_known_one(costs):
    hasher = CountingHasher(costs)
    passwords = Passwords(costs, hasher=hasher)
    stored = passwords.hashed(STRONG)
    hasher.computed.clear()

    assert passwords.matches(stored, "not this one") is False
    assert passwords.matches(None, "not this one") is False

    known, unknown = hasher.computed
    assert known == unknown


def test_an_unknown_account_takes_as_long_as_a_known_one():
    costs = Costs(memory_kib=2048, passes=2, lanes=1)
    passwords = Passwords(costs)
    stored = passwords.hashed(STRONG)
    took = {stored: [], None: []}

    for _ in range(60):
        for against, times in took.items():
            # This thread's own time: that of a machine with other work tells of the others.
            began = thread_time()
            passwords.matches(against, "not this one")
            times.append(thread_time() - began)

    assert 0.8 < median(took[None]) / median(took[stored]) < 1.25


@pytest.mark.parametrize("password", ["", "not this one", "None", STRONG])
def test_nothing_matches_an_unknown_account(passwords, password):
    assert passwords.matches(None, password) is False


def test_nothing_matches_an_unknown_account_whatever_the_hasher_says():
    credulous = Passwords(hasher=CredulousHasher())

    assert credulous.matches("stored", STRONG) is True
    assert credulous.matches("stored", LONG + "x") is False
    assert credulous.matches(None, STRONG) is False


def test_what_is_stored_and_is_no_hash_is_a_defect(passwords):
    with pytest.raises(InvalidHashError):
        passwords.matches("no hash", STRONG)


def test_at_most_two_are_hashed_at_once_and_the_others_wait():
    hasher = HeldHasher()
    passwords = Passwords(hasher=hasher, waiting=6, wait_s=10)
    with ThreadPoolExecutor(8) as threads:
        asked = [threads.submit(passwords.hashed, STRONG) for _ in range(8)]
        hasher.inside.acquire(timeout=5)
        hasher.inside.acquire(timeout=5)
        third = hasher.inside.acquire(timeout=0.1)
        hasher.let.set()

    assert not third
    assert hasher.most == 2
    assert [one.result() for one in asked] == ["done"] * 8


def test_with_more_turns_more_are_hashed_at_once():
    hasher = HeldHasher()
    passwords = Passwords(hasher=hasher, at_once=3)
    with ThreadPoolExecutor(3) as threads:
        asked = [threads.submit(passwords.hashed, STRONG) for _ in range(3)]
        came_in = [hasher.inside.acquire(timeout=5) for _ in range(3)]
        hasher.let.set()

    assert came_in == [True, True, True]
    assert hasher.most == 3
    assert len(asked) == 3


def test_who_finds_the_line_full_is_told_at_once_and_who_waits_too_long_after_that():
    hasher, wait_s = HeldHasher(), 1
    passwords = Passwords(hasher=hasher, at_once=1, waiting=1, wait_s=wait_s)
    with ThreadPoolExecutor(3) as threads:
        first = threads.submit(passwords.hashed, STRONG)
        hasher.inside.acquire(timeout=5)
        waiting = threads.submit(passwords.hashed, STRONG)
        while passwords._line._value:
            pass
        began = perf_counter()
        with pytest.raises(Busy):
            passwords.matches(None, STRONG)
        told_after = perf_counter() - began
        with pytest.raises(Busy):
            waiting.result(5)
        hasher.let.set()

    assert told_after < wait_s
    assert first.result() == "done"
    assert passwords.hashed(STRONG) == "done"


def test_after_refusals_and_defects_all_turns_are_free_again():
    passwords = Passwords(CHEAP, at_once=1, waiting=0)
    for _ in range(3):
        with pytest.raises(InvalidHashError):
            passwords.matches("no hash", STRONG)

    assert passwords.matches(passwords.hashed(STRONG), STRONG)


def test_busy_is_answered_as_such():
    answer = problem_of(Busy("Later."), path="/v1/sessions")

    assert answer.status_code == 503
    assert (b"retry-after", b"1") in answer.raw_headers


@pytest.mark.parametrize(
    "password",
    [
        STRONG,
        "correcthorsebatterystaple",
        "green tree frog",
        "\u043b\u044f\u0433\u0443\u0448\u043a\u0430 \u043d\u0430 \u043f\u0440\u0443\u0434\u0443",
        "\u6c60\u306e\u86d9\u304c\u9cf4\u304f\u590f\u306e\u591c\u306b\u98db\u3076",
        "all in small letters",
        "zq8!vR2#mK5$",
        "\N{FROG FACE}\N{TURTLE}\N{FISH}\N{LIZARD}" * 3 + "pond",
        LONG,
        "nul \x00 in the middle",
    ],
)
def test_a_password_is_taken_whatever_it_is_made_of(password):
    assert fault_of(password) is None


@pytest.mark.parametrize(
    ("length", "fault"), [(0, "password-too-short"), (SHORTEST - 1, "password-too-short"), (SHORTEST, None), (64, None), (LONGEST, None)]
)
def test_a_password_has_a_length(length, fault):
    assert fault_of(LONG[:length]) == fault


@pytest.mark.parametrize("password", [LONG + "x", "x" * 1_000_000, "e\u0301" * (LONGEST + 1)], ids=["one more", "a million", "accents"])
def test_a_password_that_is_too_long_is_refused_and_never_cut(password):
    assert fault_of(password) == "password-too-long"


def test_length_is_counted_as_the_person_sees_it():
    assert len(unicodedata.normalize("NFD", "\u00e9" * 11)) > SHORTEST

    assert (
        fault_of(unicodedata.normalize("NFD", "\u00e9\u00e8\u00ea\u00eb\u00e1\u00e0\u00e2\u00e4\u00f3\u00f2\u00f4")) == "password-too-short"
    )
    assert fault_of(unicodedata.normalize("NFD", LONG[:200] + "\u00e9" * 56)) is None


def test_half_a_character_is_no_text():
    assert fault_of(STRONG + "\ud800") == "password-not-text"


def test_every_common_password_that_is_long_enough_is_refused():
    common = [word for word in FREQUENCY_LISTS["passwords"] if len(word) >= SHORTEST]

    taken = [word for word in common if fault_of(word) is None]

    assert len(common) > 200
    assert taken == []


@pytest.mark.parametrize(
    "password",
    [
        "password1234",
        "Password1234!",
        "Pa$$w0rd2026!",
        "P@SSWORDPASSWORD",
        "qwertyuiop12",
        "1qaz2wsx3edc",
        "aaaaaaaaaaaaaaaa",
        "abcdefghijklmnop",
        "123456789012",
        "iloveyou1234",
        "letmeinletmein",
        "hellohello123",
        "Winter20262026",
        "01-01-1990!!",
        "password" * 8,
        "a" * 200,
        "drowssapdrowssap",
    ],
)
def test_what_is_tried_first_is_refused(password):
    assert fault_of(password) == "password-common"


@pytest.mark.parametrize(
    "password",
    [
        "Marshlight Trust forever",
        "marshlighttrust-gecko-9",
        "MARSHLIGHT and the newts",
        "the newts of m.a.r.s.h.l.i.g.h.t",
        "\uff2d\uff41\uff52\uff53\uff48\uff4c\uff49\uff47\uff48\uff54 and the newts",
        "my reedbed is full of newts",
        "REED BED full of newts",
        "greed@marshlight.example",
    ],
)
def test_names_that_everybody_here_knows_are_refused(password):
    assert fault_of(password) == "password-says-name"


def test_only_the_names_that_are_said_are_refused_besides_the_products():
    assert fault_of("marshlight and newts", said_about=["Gill Water"]) is None
    assert fault_of("gillwater and newts", said_about=["Gill Water"]) == "password-says-name"
    assert fault_of("reedbed and newts", said_about=[]) == "password-says-name"


@pytest.mark.parametrize("name", ["", " ", "-", "al", "the"])
def test_a_name_too_short_to_mean_anything_refuses_nothing(name):
    assert fault_of("all the walking newts", said_about=[name]) is None


@pytest.mark.parametrize("password", ["short", LONG + "x", "password1234", "marshlight newts at nine", "\ud800" * 12])
def test_a_refusal_names_the_field_and_says_what_to_do(password):
    with pytest.raises(RuleBroken) as refused:
        refuse_weak(password, said_about=KNOWN)

    (fault,) = refused.value.faults
    assert fault.pointer == "/password"
    assert fault.detail == refused.value.detail
    assert re.fullmatch(r"[A-Z].*\.", fault.detail)
    assert password not in fault.detail


@pytest.mark.parametrize("password", ["@4({<[6!|7$5+%2130" * 14, "4@8({[<3691!|1|70$5+7%2" * 11, "1" * 250, "12/12/1990" * 25])
def test_the_estimate_takes_no_longer_for_passwords_made_to_delay_it(password):
    began = perf_counter()
    fault_of(password)

    # Of the first of these, seventy characters looked at as a whole take about three seconds.
    assert perf_counter() - began < 2
