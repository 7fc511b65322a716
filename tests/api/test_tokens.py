"""Another issuer's tokens: what is accepted, what is not, and how its keys are had."""

from __future__ import annotations

import asyncio
import json
import logging
from datetime import UTC, datetime, timedelta
from time import perf_counter

import jwt
import pytest

from api.errors import TokenRefused, problem_of
from api.key_sets import MOST_KEYS
from api.tokens import ACCESS_TOKENS, LEEWAY, PLAIN_JWT, Identity, Issuer, Reason, TokenChecker
from tests.issuer import AUDIENCE, BAD_TOKENS, CLAIM_ABSENT, GOOD_TOKENS, LoopbackIssuer, compact, ec_key, published, rsa_key, signer
from tests.makers import NOON

SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def trusted():
    with LoopbackIssuer("trusted") as made:
        yield made


@pytest.fixture(scope="module")
def other():
    with LoopbackIssuer("other") as made:
        yield made


@pytest.fixture(scope="module")
def checker(trusted, other):
    return checker_of(trusted, other)


@pytest.fixture
def issuer():
    with LoopbackIssuer("own") as made:
        yield made


@pytest.fixture
def own(issuer):
    return checker_of(issuer)


def checker_of(*issuers, fetch_within_s=3.0, **conditions):
    stated = [Issuer(one.url, AUDIENCE, **{"keys_url": one.keys_url, **conditions}) for one in issuers]
    return TokenChecker(stated, allow_loopback_http=True, fetch_within_s=fetch_within_s)


def check(checker, token, *, now=NOON):
    return asyncio.run(checker.check(token, now=now))


def reason_of(checker, token, *, now=NOON):
    """Return why a token is refused; None when it is accepted."""
    try:
        check(checker, token, now=now)
    except TokenRefused as refused:
        return refused.reason
    return None


def naively(token, issuer, other):
    """Check a token as one would who reads the library's first page: the key by its id, the algorithm the token names."""
    keys = jwt.PyJWKSet.from_dict({"keys": [*issuer.key_set()["keys"], *other.key_set()["keys"]]})
    header = jwt.get_unverified_header(token)
    return jwt.decode(token, keys[header["kid"]], algorithms=[header["alg"]], audience=AUDIENCE)


def naive_accepts(token, issuer, other):
    try:
        naively(token, issuer, other)
    except (jwt.PyJWTError, KeyError, RecursionError, ValueError):
        return False
    return True


@pytest.mark.parametrize("forged", BAD_TOKENS.values(), ids=BAD_TOKENS.keys())
def test_refused_is(checker, trusted, other, forged):
    token = forged(trusted, other, NOON)

    with pytest.raises(TokenRefused) as refused:
        check(checker, token)

    assert refused.value.detail == "This token is not accepted."
    assert refused.value.reason in set(Reason)


@pytest.mark.parametrize("made", GOOD_TOKENS.values(), ids=GOOD_TOKENS.keys())
def test_accepted_is(checker, trusted, other, made):
    identity = check(checker, made(trusted, other, NOON))

    assert identity.issuer == trusted.url
    assert identity.subject.startswith("k")


@pytest.mark.filterwarnings("ignore::jwt.warnings.InsecureKeyLengthWarning")
def test_the_corpus_finds_what_a_naive_checker_lets_through(trusted, other):
    real_now = datetime.now(UTC)  # noqa: TID251 - the library reads the clock

    passed = {name for name, forged in BAD_TOKENS.items() if naive_accepts(forged(trusted, other, real_now), trusted, other)}

    assert passed == {
        "a token of an issuer that is not trusted",
        "a token of an issuer with one slash more",
        "a token whose issuer is a list",
        *(f"a token without {claim}" for claim in ("exp", "iat", "sub", "iss")),
        "a token whose end is text",
        "a token whose beginning is true",
        "a token whose end is beyond every calendar",
        "an ID token",
        "an ID token without typ",
        "a token of another type",
        "a token of another issuer's key",
        "a token that says where its key is (jku)",
        "a token that says where its certificate is (x5u)",
        "a token that demands an extension (crit)",
        "a token of nine kilobytes",
        "a token that names its subject twice",
        "a token that names its algorithm twice",
        "a token of an RSA key of 1024 bits",
        "a token of an algorithm that is not agreed, though valid",
        "a token whose subject is empty",
        "a token whose subject has a control character",
        "a token whose subject ends in a line break",
        "a token whose subject is longer than any",
    }


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("a token with the algorithm none and some signature", Reason.ALGORITHM),
        ("a token signed with the public key as a shared secret", Reason.ALGORITHM),
        ("a token of an issuer that is not trusted", Reason.ISSUER),
        ("a token for several audiences without us", Reason.AUDIENCE),
        ("a token without exp", Reason.CLAIMS),
        ("a token that has expired", Reason.EXPIRED),
        ("a token that is not valid yet", Reason.NOT_YET),
        ("an ID token", Reason.TYPE),
        ("a token of another issuer's key", Reason.KEY_UNKNOWN),
        ("a token of another issuer's signature under our key's id", Reason.SIGNATURE),
        ("a token that brings its key along (jwk)", Reason.HEADER),
        ("a token within encryption", Reason.ENCRYPTED),
        ("a token that is no base64", Reason.FORM),
        ("a token of nine kilobytes", Reason.SIZE),
        ("a token of an RSA key of 1024 bits", Reason.KEY_UNKNOWN),
        ("a token of a key for elliptic curves that says RS256", Reason.KEY_UNFIT),
        ("a token whose subject is a number", Reason.SUBJECT),
        ("a token whose subject has a control character", Reason.SUBJECT),
    ],
)
def test_a_token_is_refused_for_what_is_wrong_with_it(checker, trusted, other, name, reason):
    assert reason_of(checker, BAD_TOKENS[name](trusted, other, NOON)) == reason


def test_which_check_failed_is_logged_and_not_said(checker, trusted, other, caplog):
    with caplog.at_level(logging.INFO, logger="reedbed.tokens"), pytest.raises(TokenRefused) as refused:
        check(checker, trusted.token(NOON, sub="secret subject"))

    answer = problem_of(refused.value, path="/v1/sites")
    assert caplog.messages == ["a token was refused: subject"]
    assert b"token-refused" in answer.body
    assert b"secret" not in answer.body
    assert dict(answer.raw_headers)[b"www-authenticate"] == b'Bearer realm="reedbed", error="invalid_token"'


def test_no_change_of_one_character_is_accepted(checker, trusted):
    token = trusted.token(NOON, kid="trusted-ec")
    changed = [token[:place] + ("A" if token[place] != "A" else "B") + token[place + 1 :] for place in range(len(token))]

    assert {reason_of(checker, one) is None for one in changed} == {False}


@pytest.mark.parametrize(("ago", "accepted"), [(LEEWAY - SECOND, True), (LEEWAY, False), (LEEWAY + SECOND, False)])
def test_a_token_is_in_force_until_the_leeway_after_its_end(checker, trusted, ago, accepted):
    token = trusted.token(NOON, iat=0, exp=int(NOON.timestamp()))

    assert (reason_of(checker, token, now=NOON + ago) is None) == accepted


@pytest.mark.parametrize("claim", ["iat", "nbf"])
@pytest.mark.parametrize(("ahead", "accepted"), [(LEEWAY - SECOND, True), (LEEWAY, True), (LEEWAY + SECOND, False)])
def test_a_token_is_in_force_from_the_leeway_before_its_beginning(checker, trusted, claim, ahead, accepted):
    token = trusted.token(NOON, **{claim: int((NOON + ahead).timestamp())})

    assert (reason_of(checker, token) is None) == accepted


def test_each_issuer_speaks_for_its_own_people(checker, trusted, other):
    assert check(checker, trusted.token(NOON)) == Identity(trusted.url, "keeper-7")
    assert check(checker, other.token(NOON)) == Identity(other.url, "keeper-7")


@pytest.mark.parametrize("said", ["JWT", "jwt", CLAIM_ABSENT])
def test_an_issuer_that_does_not_say_access_token_can_be_trusted_to_mean_it(trusted, said):
    lenient = checker_of(trusted, types=ACCESS_TOKENS | {PLAIN_JWT})

    assert reason_of(lenient, trusted.token(NOON, head={"typ": said})) is None
    assert reason_of(lenient, trusted.token(NOON, head={"typ": said}, nonce="n-0S6_WzA2Mj")) == Reason.TYPE
    assert reason_of(lenient, trusted.token(NOON, head={"typ": "logout+jwt"})) == Reason.TYPE


@pytest.mark.parametrize(
    ("said", "accepted"),
    [
        ({"scope": "reedbed"}, True),
        ({"scope": "openid reedbed"}, True),
        ({"scope": "reedbedding"}, False),
        ({"scope": 7}, False),
        ({}, False),
    ],
)
def test_a_scope_that_is_required_has_to_be_there(trusted, said, accepted):
    strict = checker_of(trusted, required_scope="reedbed")

    assert (reason_of(strict, trusted.token(NOON, **said)) is None) == accepted


def test_an_algorithm_that_is_agreed_is_accepted(trusted):
    agreed = checker_of(trusted, algorithms=frozenset({"EdDSA"}))

    assert reason_of(agreed, trusted.token(NOON, kid="trusted-ed")) is None
    assert reason_of(agreed, trusted.token(NOON)) == Reason.ALGORITHM


@pytest.mark.parametrize("algorithm", ["HS256", "none", "RS257", "rs256"])
def test_an_issuer_may_not_share_a_secret_with_us(algorithm):
    with pytest.raises(ValueError, match="asymmetric"):
        Issuer("https://issuer.example", AUDIENCE, algorithms=frozenset({algorithm}))


@pytest.mark.parametrize("empty", [{"url": ""}, {"audience": ""}, {"algorithms": frozenset()}, {"types": frozenset()}])
def test_an_issuer_without_conditions_is_refused(empty):
    with pytest.raises(ValueError, match="needs"):
        Issuer(**{"url": "https://issuer.example", "audience": AUDIENCE, **empty})


@pytest.mark.parametrize(
    "url",
    [
        "http://issuer.example",
        "http://127.0.0.1:8",
        "ftp://issuer.example",
        "https://user@issuer.example",
        "https://",
        "issuer",
        "http://[",
        "",
    ],
)
def test_keys_are_asked_for_over_tls_only(url):
    with pytest.raises(ValueError, match="address"):
        TokenChecker([Issuer("https://issuer.example", AUDIENCE, keys_url=url or "urn:keys")])


@pytest.mark.parametrize("url", ["http://127.0.0.1:8", "http://[::1]:8", "http://localhost:8"])
def test_keys_of_this_machine_may_be_had_without_tls_where_that_is_allowed(url):
    TokenChecker([Issuer(url, AUDIENCE)], allow_loopback_http=True)

    with pytest.raises(ValueError, match="address"):
        TokenChecker([Issuer("http://issuer.example", AUDIENCE)], allow_loopback_http=True)


def test_an_issuer_is_named_once():
    with pytest.raises(ValueError, match="two issuers"):
        TokenChecker([Issuer("https://issuer.example", AUDIENCE), Issuer("https://issuer.example", "other")])


def test_keys_are_fetched_once_in_ten_minutes(issuer, own):
    for minutes in (0, 1, 9):
        check(own, issuer.token(NOON + minutes * MINUTE), now=NOON + minutes * MINUTE)
    assert issuer.fetches == ["/keys"]

    check(own, issuer.token(NOON + 10 * MINUTE), now=NOON + 10 * MINUTE)

    assert issuer.fetches == ["/keys", "/keys"]


def test_many_at_once_wait_for_one_fetch(issuer, own):
    async def all_at_once():
        return await asyncio.gather(*(own.check(issuer.token(NOON, sub=f"k{number}"), now=NOON) for number in range(30)))

    found = asyncio.run(all_at_once())

    assert [one.subject for one in found] == [f"k{number}" for number in range(30)]
    assert issuer.fetches == ["/keys"]


def test_who_goes_away_does_not_end_the_fetch_for_the_others(issuer, own):
    async def first_goes_away():
        first = asyncio.create_task(own.check(issuer.token(NOON), now=NOON))
        second = asyncio.create_task(own.check(issuer.token(NOON), now=NOON))
        await asyncio.sleep(0)
        first.cancel()
        return await second

    assert asyncio.run(first_goes_away()).subject == "keeper-7"
    assert issuer.fetches == ["/keys"]


def test_a_new_key_is_known_at_once_and_an_old_one_no_longer(issuer, own):
    old = issuer.token(NOON)
    check(own, old)
    issuer.rotate("next")

    assert reason_of(own, issuer.token(NOON), now=NOON + MINUTE) is None
    assert reason_of(own, old, now=NOON + MINUTE) == Reason.KEY_UNKNOWN


def test_a_key_that_was_withdrawn_is_refused_after_ten_minutes(issuer, own):
    token = issuer.token(NOON, exp=int((NOON + HOUR).timestamp()))
    check(own, token)
    issuer.rotate("next")

    assert reason_of(own, token, now=NOON + 9 * MINUTE) is None
    assert reason_of(own, token, now=NOON + 10 * MINUTE) == Reason.KEY_UNKNOWN


def test_a_flood_of_invented_keys_fetches_once_in_thirty_seconds(issuer, own):
    check(own, issuer.token(NOON))

    for number in range(60):
        token = issuer.token(NOON, head={"kid": f"invented-{number}"})
        assert reason_of(own, token, now=NOON + MINUTE + number * SECOND / 2) == Reason.KEY_UNKNOWN
    assert len(issuer.fetches) == 2

    reason_of(own, issuer.token(NOON, head={"kid": "invented"}), now=NOON + MINUTE + 30 * SECOND)
    assert len(issuer.fetches) == 3


@pytest.mark.parametrize(("ago", "accepted"), [(10 * MINUTE, True), (24 * HOUR - SECOND, True), (24 * HOUR, False)])
def test_keys_of_an_issuer_that_is_away_are_believed_for_a_day(issuer, own, ago, accepted):
    check(own, issuer.token(NOON))
    issuer.mode = "failing"

    assert (reason_of(own, issuer.token(NOON + ago), now=NOON + ago) or "accepted") == ("accepted" if accepted else Reason.KEYS_AWAY)
    assert len(issuer.fetches) == 2


def test_an_issuer_that_is_away_is_asked_again_after_thirty_seconds_and_not_before(issuer, own):
    issuer.mode = "failing"
    later = [NOON + seconds * SECOND for seconds in (0, 1, 29, 30)]

    reasons = [reason_of(own, issuer.token(at), now=at) for at in later]

    assert reasons == [Reason.KEYS_AWAY] * 4
    assert len(issuer.fetches) == 2
    issuer.mode = "well"
    assert reason_of(own, issuer.token(NOON + MINUTE), now=NOON + MINUTE) is None


def test_a_clock_that_was_set_back_does_not_keep_keys_for_ever(issuer, own):
    check(own, issuer.token(NOON))
    issuer.rotate("next")

    assert reason_of(own, issuer.token(NOON - HOUR), now=NOON - HOUR) is None


@pytest.mark.parametrize("mode", ["failing", "babbling", "huge", "packed", "redirecting"])
def test_no_keys_are_taken_from_an_answer_that_is(issuer, own, mode):
    issuer.mode = mode

    assert reason_of(own, issuer.token(NOON)) == Reason.KEYS_AWAY
    assert issuer.fetches == ["/keys"]


def test_an_answer_that_never_ends_is_given_up(issuer):
    issuer.mode = "dripping"
    began = perf_counter()

    assert reason_of(checker_of(issuer, fetch_within_s=0.3), issuer.token(NOON)) == Reason.KEYS_AWAY
    assert perf_counter() - began < 2


def test_nobody_at_the_address_is_an_issuer_that_is_away():
    with LoopbackIssuer("own") as gone:
        token = gone.token(NOON)

    assert reason_of(checker_of(gone), token) == Reason.KEYS_AWAY


def test_proxies_of_the_environment_are_not_asked(issuer, own, monkeypatch):
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    monkeypatch.delenv("NO_PROXY", raising=False)

    assert reason_of(own, issuer.token(NOON)) is None


def test_where_the_keys_are_is_asked_of_the_issuer(issuer):
    asking = checker_of(issuer, keys_url=None)

    assert reason_of(asking, issuer.token(NOON)) is None
    assert issuer.fetches == ["/.well-known/openid-configuration", "/keys"]


@pytest.mark.parametrize(
    "said",
    [{"issuer": "https://issuer.example"}, {"jwks_uri": None}, {"jwks_uri": "http://issuer.example/keys"}, {"jwks_uri": "file:///keys"}],
)
def test_a_configuration_that_is_not_the_issuers_own_is_not_followed(issuer, said):
    issuer.configuration |= said

    assert reason_of(checker_of(issuer, keys_url=None), issuer.token(NOON)) == Reason.KEYS_AWAY
    assert issuer.fetches == ["/.well-known/openid-configuration"]


ODD_KEYS = [
    "text",
    {},
    {"kid": "odd"},
    {"kid": 7, "kty": "RSA"},
    {"kid": "odd", "kty": "oct", "k": "c2VjcmV0"},
    {"kid": "odd", "kty": ["RSA"]},
    {"kid": "odd", "kty": "RSA", "n": 7, "e": "AQAB"},
    {"kid": "odd", "kty": "RSA", "n": "", "e": ""},
    {"kid": "odd", "kty": "EC", "crv": "P-256", "x": "AA", "y": "AA"},
    {"kid": "odd", "kty": "EC", "crv": "P-256", "x": ["AA"], "y": {}},
    {"kid": "odd", "kty": "OKP", "crv": "X25519", "x": "AA"},
    {"kid": "odd", "kty": "RSA", "alg": "RSA-OAEP", "n": "AQAB", "e": "AQAB"},
]


@pytest.mark.parametrize("odd", ODD_KEYS, ids=str)
def test_an_odd_key_does_not_spoil_the_others(issuer, own, odd):
    issuer.others = [odd]

    assert reason_of(own, issuer.token(NOON)) is None
    assert reason_of(own, issuer.token(NOON, head={"kid": "odd"})) == Reason.KEY_UNKNOWN


@pytest.mark.parametrize(
    ("said", "accepted"),
    [
        ({}, True),
        ({"key_ops": ["verify"]}, True),
        ({"use": "enc"}, False),
        ({"key_ops": ["encrypt"]}, False),
        ({"key_ops": 7}, False),
        ({"alg": "PS256"}, False),
        ({"alg": ["RS256"]}, False),
    ],
)
def test_a_key_for_something_else_proves_nothing(issuer, own, said, accepted):
    issuer.keys = {"own-ec": issuer.keys["own-ec"]}
    issuer.others = [{**published("odd", rsa_key("own"), algorithm="RS256"), **said}]
    token = compact({"alg": "RS256", "typ": "at+jwt", "kid": "odd"}, issuer.claims(NOON), sign=signer("RS256", rsa_key("own")))

    assert reason_of(own, issuer.token(NOON)) is None
    assert (reason_of(own, token) is None) == accepted


@pytest.mark.parametrize(("kid", "algorithm"), [("own-rsa", "RS256"), ("own-ec", "ES256"), ("own-ed", "EdDSA")])
def test_a_key_whose_private_part_is_published_proves_nothing(issuer, kid, algorithm):
    checker = checker_of(issuer, algorithms=frozenset({algorithm}))
    token = issuer.token(NOON, kid=kid)
    private = json.loads(jwt.get_algorithm_by_name(algorithm).to_jwk(issuer.keys.pop(kid)[1]))
    issuer.others = [{**private, "kid": kid}]

    assert reason_of(checker, token) == Reason.KEY_UNKNOWN


def test_of_two_keys_of_one_id_the_one_that_fits_is_taken(issuer, own):
    issuer.others = [published("own-rsa", ec_key("twin"), algorithm="ES256")]

    assert reason_of(own, issuer.token(NOON)) is None


def test_a_set_of_too_many_keys_is_not_read(issuer, own):
    issuer.others = [{}] * MOST_KEYS

    assert reason_of(own, issuer.token(NOON)) == Reason.KEYS_AWAY


def test_the_issuer_under_test_signs_as_the_library_verifies(issuer):
    claims = jwt.decode(
        issuer.token(NOON),
        rsa_key("own").public_key(),
        algorithms=["RS256"],
        audience=AUDIENCE,
        options={"verify_exp": False, "verify_iat": False},
    )

    assert claims["sub"] == "keeper-7"
