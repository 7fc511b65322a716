"""Keys that sign checkpoints, and the files in the second place."""

from __future__ import annotations

import os

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import BestAvailableEncryption, Encoding, NoEncryption, PrivateFormat, PublicFormat

from api.signing import KeyUnusable, Signer, read_elsewhere, read_public_keys, read_signer, signed_by, write_elsewhere
from domain.actions.checkpoints import signed_text
from domain.records.journal import JournalCheckpoint
from tests import makers


def private_pem(key, *, passphrase=None):
    locked = BestAvailableEncryption(passphrase) if passphrase else NoEncryption()
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, locked)


def public_pem(key):
    return key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


@pytest.fixture
def write(tmp_path):
    def write(content, *, mode=0o600):
        path = tmp_path / "key.pem"
        path.write_bytes(content)
        path.chmod(mode)
        return path

    return write


def checkpoint(signer, *, position=5, organisation_id=makers.ORGANISATION):
    made = JournalCheckpoint(
        organisation_id=organisation_id, position=position, hash="0" * 64, at=makers.NOON, key_id=signer.key_id, signature=""
    )
    made.signature = signer.sign(signed_text(made))
    return made


def test_what_a_key_signed_is_known_by_its_public_half_and_by_no_other(write):
    own, other = Ed25519PrivateKey.generate(), Ed25519PrivateKey.generate()
    signer = read_signer(write(private_pem(own)))
    signature = signer.sign(b"text")
    mine, theirs = (signed_by(read_public_keys([write(public_pem(key), mode=0o644)])) for key in (own, other))

    assert mine(b"text", signature, signer.key_id)
    assert not mine(b"texT", signature, signer.key_id)
    assert not mine(b"text", "no Base64!", signer.key_id)
    assert not theirs(b"text", signature, signer.key_id)


def test_of_a_file_with_a_private_key_the_public_half_is_taken(write):
    key = Ed25519PrivateKey.generate()

    assert list(read_public_keys([write(private_pem(key))])) == [Signer(key).key_id]


UNUSABLE = {
    "of another kind": private_pem(generate_private_key(SECP256R1())),
    "locked by a passphrase": private_pem(Ed25519PrivateKey.generate(), passphrase=b"reed"),
    "no key": b"-----BEGIN NOTHING-----\n",
    "empty": b"",
}


@pytest.mark.parametrize("content", UNUSABLE.values(), ids=UNUSABLE.keys())
def test_another_file_is_no_signing_key(write, content):
    path = write(content)

    with pytest.raises(KeyUnusable, match="holds no Ed25519 private key in PEM"):
        read_signer(path)
    with pytest.raises(KeyUnusable):
        read_public_keys([path])


def test_a_public_key_of_another_kind_is_refused_and_a_public_key_signs_nothing(write):
    with pytest.raises(KeyUnusable, match="holds no Ed25519 key in PEM"):
        read_public_keys([write(public_pem(generate_private_key(SECP256R1())))])
    with pytest.raises(KeyUnusable, match="private key"):
        read_signer(write(public_pem(Ed25519PrivateKey.generate())))


@pytest.mark.skipif(os.name != "posix", reason="files have no such modes here")
@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660])
def test_a_private_key_that_others_may_read_is_refused(write, mode):
    path = write(private_pem(Ed25519PrivateKey.generate()), mode=mode)

    for read in (read_signer, lambda one: read_public_keys([one])):
        with pytest.raises(KeyUnusable, match=r"Others may read the file .*key\.pem; set its mode to 600"):
            read(path)


def test_what_was_written_down_is_read_as_it_was_and_appended_to(tmp_path):
    signer = Signer(Ed25519PrivateKey.generate())
    made = [checkpoint(signer, position=position) for position in (5, 9)]
    other = checkpoint(signer, organisation_id=makers.OTHER_ORGANISATION)

    paths = {write_elsewhere(tmp_path, one) for one in (*made, other)}

    found, flaws = read_elsewhere(tmp_path, makers.ORGANISATION)
    assert ([(one.position, one.at, one.signature) for one in found], flaws) == (
        [(one.position, one.at, one.signature) for one in made],
        [],
    )
    assert paths == {tmp_path / f"{one}.jsonl" for one in (makers.ORGANISATION, makers.OTHER_ORGANISATION)}
    assert read_elsewhere(tmp_path, 1) == ([], [])


def test_a_line_that_was_broken_off_spoils_no_other(tmp_path):
    signer = Signer(Ed25519PrivateKey.generate())
    path = write_elsewhere(tmp_path, checkpoint(signer))
    path.write_bytes(path.read_bytes() + b'{"organisation_id":')

    write_elsewhere(tmp_path, checkpoint(signer, position=9))

    found, flaws = read_elsewhere(tmp_path, makers.ORGANISATION)
    assert [one.position for one in found] == [5, 9]
    assert [flaw.sentence for flaw in flaws] == [f"{path}, line 2: this is no checkpoint of this organisation."]


@pytest.mark.parametrize(
    "changed",
    [{"position": 0}, {"position": 2**63}, {"position": "5"}, {"at": "2026-03-01T12:00:00"}, {"extra": 1}, {"hash": None}],
    ids=str,
)
def test_a_line_that_says_something_else_is_no_checkpoint(tmp_path, changed):
    path = write_elsewhere(tmp_path, checkpoint(Signer(Ed25519PrivateKey.generate())))
    path.write_bytes(msgspec.json.encode({**msgspec.json.decode(path.read_bytes()), **changed}))

    found, flaws = read_elsewhere(tmp_path, makers.ORGANISATION)

    assert (found, len(flaws)) == ([], 1)
