"""Checkpoints by command: signed, written down in a second place, and held against the database."""

from __future__ import annotations

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from domain.actions.checkpoints import HASH_AT
from domain.records.journal import MOVE_HEAD
from tests import makers


def private_file(folder, name):
    """Write a new private key, readable by its owner alone, and its public half beside it."""
    key, path = Ed25519PrivateKey.generate(), folder / f"{name}.pem"
    path.touch(0o600)
    path.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    path.with_suffix(".pub").write_bytes(key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    return path


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """Return the folder that the settings name as the second place; the key is the first."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    monkeypatch.setenv("REEDBED_SIGNING_KEY_FILE", str(private_file(tmp_path, "first")))
    monkeypatch.setenv("REEDBED_CHECKPOINT_FOLDER", str(folder))
    return folder


def move_head(unit, to):
    unit.run(MOVE_HEAD, at_organisation_id=unit.organisation_id, new_position=2, new_hash=to)


def test_a_checkpoint_is_written_down_once_and_proved(marshlight, records, elsewhere):
    status, out, err = marshlight("checkpoint")
    [file] = elsewhere.iterdir()
    assert (status, out.strip(), err) == (0, str(file), "")

    assert marshlight("checkpoint") == (0, "nothing new to sign since the last checkpoint\n", "")
    assert len(file.read_bytes().splitlines()) == 1
    with records() as unit:
        makers.site(unit)
    status, out, _ = marshlight("verify", "--checkpoints", elsewhere)

    assert (status, "4 entries, 4 records, signed up to entry 3: the chain holds and the records agree" in out) == (0, True)
    assert marshlight("verify")[1] == out


def test_an_organisation_without_a_checkpoint_is_said_to_have_none(marshlight, elsewhere):
    assert ", no checkpoint yet: the chain holds" in marshlight("verify", "--checkpoints", elsewhere)[1]


def test_a_chain_that_is_not_what_was_signed_ends_with_status_one(marshlight, records, elsewhere):
    with records() as unit:
        [(stood,)] = unit.rows(HASH_AT, position=2)
        move_head(unit, "0" * 64)
    marshlight("checkpoint")
    with records() as unit:
        move_head(unit, stood)

    status, out, _ = marshlight("verify", "--checkpoints", elsewhere)

    assert (status, "Entry 2 is another one than when its checkpoint was signed." in out) == (1, True)


def test_a_second_place_that_was_emptied_is_found(marshlight, elsewhere):
    marshlight("checkpoint")
    [file] = elsewhere.iterdir()
    file.unlink()

    status, out, _ = marshlight("verify", "--checkpoints", elsewhere)

    assert (status, "The checkpoint at entry 2 in the database is none of those in the second place." in out) == (1, True)


def test_after_a_change_of_keys_both_public_keys_are_needed(marshlight, records, elsewhere, tmp_path, monkeypatch):
    marshlight("checkpoint")
    with records() as unit:
        makers.site(unit)
    monkeypatch.setenv("REEDBED_SIGNING_KEY_FILE", str(private_file(tmp_path, "second")))
    marshlight("checkpoint")
    first, second = tmp_path / "first.pub", tmp_path / "second.pub"

    both = marshlight("verify", "--checkpoints", elsewhere, "--public-key", first, "--public-key", second)
    only_new = marshlight("verify", "--checkpoints", elsewhere, "--public-key", second)
    only_set = marshlight("verify", "--checkpoints", elsewhere)

    assert (both[0], ", signed up to entry 4" in both[1]) == (0, True)
    assert (only_new[0], "The checkpoint at entry 3 bears no good signature of a known key" in only_new[1]) == (1, True)
    assert only_set == only_new


def test_a_night_leaves_a_checkpoint_dated_by_the_real_clock(marshlight, records, elsewhere):
    with records() as unit:
        makers.site(unit)

    marshlight("nightly", "--at", "2020-03-01T12:00:00Z")

    [file] = elsewhere.iterdir()
    assert b'"at":"2020' not in file.read_bytes()
    assert marshlight("verify", "--checkpoints", elsewhere)[0] == 0


@pytest.mark.parametrize("missing", ["REEDBED_SIGNING_KEY_FILE", "REEDBED_CHECKPOINT_FOLDER"])
def test_a_key_without_a_second_place_and_the_other_way_about_are_refused_by_the_night_as_well(marshlight, elsewhere, monkeypatch, missing):
    monkeypatch.delenv(missing)

    for command in ("checkpoint", "nightly"):
        status, _, err = marshlight(command)
        assert (status, "Checkpoints need a key and a second place: set" in err) == (2, True)


def test_without_either_a_night_goes_on_and_a_checkpoint_is_refused(marshlight):
    assert marshlight("nightly")[0] == 0
    assert marshlight("checkpoint")[0] == 2


def test_a_key_that_others_may_read_signs_nothing(marshlight, elsewhere, tmp_path):
    (tmp_path / "first.pem").chmod(0o644)

    for words in (("checkpoint",), ("verify", "--checkpoints", elsewhere)):
        status, _, err = marshlight(*words)
        assert (status, "; set its mode to 600" in err) == (2, True)
    assert list(elsewhere.iterdir()) == []


def test_what_is_missing_to_prove_against_checkpoints_is_said(marshlight, elsewhere, tmp_path, monkeypatch):
    status, _, err = marshlight("verify", "--checkpoints", tmp_path / "nowhere")
    assert (status, "The folder for checkpoints is not there" in err) == (2, True)
    status, _, err = marshlight("verify", "--checkpoints", elsewhere, "--public-key", tmp_path / "nowhere.pem")
    assert (status, "nowhere.pem: No such file or directory" in err) == (2, True)
    monkeypatch.delenv("REEDBED_SIGNING_KEY_FILE")
    status, _, err = marshlight("verify", "--checkpoints", elsewhere)
    assert (status, "Say whose signatures count" in err) == (2, True)


def test_where_nothing_can_be_written_down_nothing_is_kept_in_the_database(marshlight, elsewhere):
    elsewhere.rmdir()
    assert "The folder for checkpoints is not there" in marshlight("checkpoint")[2]
    elsewhere.mkdir()

    status, out, _ = marshlight("checkpoint")

    assert (status, out.strip().endswith(".jsonl")) == (0, True)
