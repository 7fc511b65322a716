"""Backups by command: a new file of the owner's, read again before it bears its name, and restored wholly or not at all."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

import migrations
from api.commands import backups
from api.commands.trouble import Trouble
from domain.records.backups import archive, manifest
from tests import makers
from tests.postgres_server import url_for

HOUSE = Path(__file__).parents[3]


@pytest.fixture
def database_url(request, tmp_path):
    """Return the URL of a migrated, empty database: on SQLite, but where a test says otherwise."""
    if getattr(request, "param", "sqlite") == "postgresql":
        name = request.getfixturevalue("postgres_database")(request.getfixturevalue("migrated_template"))
        return url_for(request.getfixturevalue("postgres_url"), database=name, role="reedbed_service")
    url = f"sqlite:///{tmp_path / 'reedbed.sqlite3'}"
    migrations.upgrade(url)
    return url


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "reedbed.backup"


@pytest.fixture
def another_database(tmp_path, monkeypatch):
    """Return a function that has the settings name a SQLite file that is not there, and returns its path."""

    def name() -> Path:
        path = tmp_path / "restored.sqlite3"
        monkeypatch.setenv("REEDBED_DATABASE_URL", f"sqlite:///{path}")
        return path

    return name


@pytest.mark.parametrize("database_url", ["sqlite", "postgresql"], indirect=True)
def test_a_backup_is_written_checked_and_restored_into_a_database_that_was_not_there(marshlight, records, file, another_database):
    with records() as unit:
        makers.site(unit)

    status, out, err = marshlight("backup", file)
    assert (status, err) == (0, "")
    assert f"{file} is written: " in out
    assert "Marshlight Trust (" in out
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert marshlight("backup", file, "--check")[1].startswith(f"{file} is whole: ")

    database = another_database()
    status, out, err = marshlight("restore", file)
    assert (status, err) == (0, "")
    assert f"{file} is restored: " in out
    assert database.exists()
    assert "the chain holds and the records agree" in marshlight("verify")[1]
    assert [path.name for path in file.parent.glob("*unfinished*")] == []


def test_what_a_program_reads_says_the_same_of_writing_checking_and_restoring(terminal, marshlight, file, another_database):
    written = terminal.json("backup", file)
    checked = terminal.json("backup", file, "--check")
    another_database()
    restored = terminal.json("restore", file)

    assert written["schema_revision"] == migrations.head()
    assert written["size_bytes"] == file.stat().st_size
    assert written["organisations"][0]["name"] == "Marshlight Trust"
    for said in (written, checked, restored):
        said.pop("seconds")
    assert written == checked == restored


def test_a_file_that_is_there_is_never_overwritten(marshlight, file):
    file.write_bytes(b"of value")

    status, out, err = marshlight("backup", file)

    assert (status, out, "is there already" in err) == (2, "", True)
    assert file.read_bytes() == b"of value"
    assert [path.name for path in file.parent.glob("*unfinished*")] == []


def test_a_file_that_comes_meanwhile_is_not_overwritten_either(tmp_path):
    unfinished, file = tmp_path / "unfinished", tmp_path / "file"
    unfinished.write_bytes(b"new")
    file.write_bytes(b"of value")

    with pytest.raises(Trouble, match="is there already"):
        backups._give_name(unfinished, file)
    assert file.read_bytes() == b"of value"


def test_a_link_that_leads_nowhere_is_not_followed(marshlight, tmp_path, file):
    file.symlink_to(tmp_path / "elsewhere")

    assert marshlight("backup", file)[0] == 2
    assert not (tmp_path / "elsewhere").exists()


def test_a_folder_that_is_not_there_is_said(marshlight, tmp_path):
    status, _, err = marshlight("backup", tmp_path / "absent" / "file")

    assert (status, "Nothing can be written into" in err) == (2, True)


def test_too_little_room_is_said_before_anything_is_written(tmp_path):
    free = shutil.disk_usage(tmp_path).free

    with pytest.raises(Trouble, match=r"not enough room in .* MB needed, .* MB free"):
        backups._refuse_too_large(2 * free, tmp_path)
    backups._refuse_too_large(1, tmp_path)


@pytest.mark.parametrize("words", [["restore"], ["backup", "--check"]])
def test_a_damaged_file_is_named_by_its_fault_and_no_database_is_made(marshlight, file, another_database, words):
    marshlight("backup", file)
    spoilt = bytearray(file.read_bytes())
    spoilt[archive.BLOCK] ^= 1
    file.write_bytes(spoilt)
    database = another_database()

    status, out, err = marshlight(*words, file)

    assert (status, out) == (2, "")
    assert "organisation.jsonl does not have the content that it was written with" in err
    assert not database.exists()


@pytest.mark.parametrize("words", [["restore"], ["backup", "--check"]])
def test_what_is_no_file_is_said(marshlight, tmp_path, words):
    assert marshlight(*words, tmp_path)[0] == 2
    assert "No such file" in marshlight(*words, tmp_path / "absent")[2]
    os.mkfifo(tmp_path / "pipe")
    holder = os.open(tmp_path / "pipe", os.O_RDWR)
    assert "is no file" in marshlight(*words, tmp_path / "pipe")[2]
    os.close(holder)


def test_a_database_that_is_not_empty_is_left_alone(marshlight, file):
    marshlight("backup", file)

    status, _, err = marshlight("restore", file)

    assert (status, "is not empty" in err) == (2, True)
    assert "the chain holds" in marshlight("verify")[1]


def test_a_backup_of_another_schema_says_what_to_do(marshlight, file, tmp_path, another_database):
    marshlight("backup", file)
    other = tmp_path / "other.backup"
    with file.open("rb") as one:
        checked = manifest.check(one, tell=lambda _: None)
        with other.open("w+b") as made:
            for content in checked.manifest.contents:
                with archive.added(made, content.member) as growing:
                    growing.write(archive.content_of(one, checked.members[content.member]))
            said = {"schema_revision": "0000", "product_version": "0.0.9"}
            manifest.seal(made, manifest.msgspec.structs.replace(checked.manifest, **said))
    database = another_database()

    status, _, err = marshlight("restore", other)

    assert status == 2
    assert f"The backup is of schema 0000; this version ({backups.product_version()}) has schema {migrations.head()}." in err
    assert "Restore it with Reedbed 0.0.9, then bring that database here with: reedbed migrate" in err
    assert not database.exists()


def test_a_database_of_an_earlier_schema_is_not_restored_into(marshlight, file, another_database):
    marshlight("backup", file)
    migrations.upgrade(f"sqlite:///{another_database()}", revision="0001")

    status, _, err = marshlight("restore", file)

    assert (status, "is at schema 0001, not" in err, "new, empty database" in err) == (2, True, True)


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_the_help_says_what_a_backup_holds(bare_terminal, capsys, command):
    with pytest.raises(SystemExit):
        bare_terminal.run(command, "--help")

    said = " ".join(capsys.readouterr().out.split())
    assert "A backup holds personal data, and the hashes of keys, passwords and sessions." in said
    assert "mode 0600" in said


WRITES_NO_MORE_THAN = """
import resource, signal, sys
from api.__main__ import main
signal.signal(signal.SIGXFSZ, signal.{handler})
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
sys.exit(main(["backup", sys.argv[1]]))
"""


@pytest.mark.parametrize(("handler", "status", "left"), [("SIG_IGN", 2, 0), ("SIG_DFL", -25, 1)])
def test_a_backup_that_cannot_be_finished_or_is_killed_leaves_no_file_of_its_name(marshlight, file, database_url, handler, status, left):
    marshlight("backup", file.with_name("whole"))
    assert file.with_name("whole").stat().st_size > 40_000
    environment = {**os.environ, "REEDBED_DATABASE_URL": database_url, "PYTHONPATH": str(HOUSE)}
    words = [sys.executable, "-c", WRITES_NO_MORE_THAN.format(handler=handler), file]

    done = subprocess.run(words, env=environment, check=False, capture_output=True, text=True)

    assert (done.returncode, "cannot be written: File too large" in done.stderr) == (status, left == 0), done.stderr
    assert not file.exists()
    assert len([*file.parent.glob("*.unfinished")]) == left
    assert marshlight("backup", file)[0] == 0


def test_the_owner_of_the_tables_restores_where_the_settings_name_one(marshlight, file, monkeypatch, postgres_url, postgres_database):
    marshlight("backup", file)
    name = postgres_database()
    monkeypatch.setenv("REEDBED_OWNER_DATABASE_URL", url_for(postgres_url, database=name, role="reedbed_owner"))
    monkeypatch.setenv("REEDBED_DATABASE_URL", url_for(postgres_url, database=name, role="reedbed_service"))

    status, out, err = marshlight("restore", file)

    assert (status, f"{file} is restored: " in out) == (0, True), err
    assert "the chain holds and the records agree" in marshlight("verify")[1]
