"""A file is taken by its content, kept before its document is on record, and given out to be saved and never to be shown."""

from __future__ import annotations

import base64
import json
from hashlib import sha256
from uuid import UUID, uuid4

import pytest

from api.filing.receiving import PDF_TAIL_BYTES
from domain.records.documents import Document
from domain.records.files import flaw_of
from domain.records.files.bucket import BucketFiles
from domain.records.files.nowhere import NoFiles
from domain.records.journal import ReadingLog
from domain.records.sites import Site
from domain.rules.permissions import Scope
from tests import makers, people
from tests.api.conftest import BusyStore
from tests.bucket_server import bucket_server, client_of
from tests.permissions.test_reading_log import READINGS
from tests.pictures import CANARY, PDF, jpeg, opened, png, tiff, webp
from tests.rules.test_file_names import HOSTILE

PHOTOGRAPH = jpeg()


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "documents"


@pytest.fixture
def settings(settings, folder):
    return settings.model_copy(update={"document_folder": folder, "max_document_bytes": 200_000})


@pytest.fixture
def animal_id(store, site_id):
    """Return the id of an animal that lives at the site."""
    with store.transaction(makers.origin()) as unit:
        enclosure = makers.enclosure(unit, unit.fetch(Site, UUID(site_id)))
        return str(makers.animal(unit, makers.taxon(unit), enclosure_id=str(enclosure.id)).id)


def send(client, content=PDF, *, name="scan.pdf", media="application/pdf", headers=None, **facts):
    return client.request(
        "POST", "/v1/documents", files={"file": (name, content, media)}, data={"title": "A paper", **facts}, headers=headers or {}
    )


def refused(answer):
    return answer.status_code, answer.json()["code"]


def of_animal(animal_id):
    return {"subject": "animal", "subject_id": animal_id}


def files_in(folder):
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def test_a_paper_is_kept_as_it_came_and_found_by_what_it_is_attached_to(client, folder, animal_id, site_id):
    sent = send(client, role="vet's report", dated_on="2026-02-27", reference="V-17", note="two pages", **of_animal(animal_id))

    assert sent.status_code == 201, sent.text
    made = sent.json()
    digest = sha256(PDF).hexdigest()
    assert {name: made[name] for name in ("title", "dated_on", "reference", "note")} == {
        "title": "A paper",
        "dated_on": "2026-02-27",
        "reference": "V-17",
        "note": "two pages",
    }
    assert (made["file_name"], made["media_type"], made["size_bytes"]) == ("scan.pdf", "application/pdf", len(PDF))
    assert (made["sha256"], made["received_sha256"], made["site_id"]) == (digest, digest, site_id)
    assert files_in(folder) == [digest]
    assert client.get(sent.headers["Location"]).json() == made
    listed = client.get("/v1/documents", params=of_animal(animal_id)).json()["items"]
    assert listed == [made]
    [attached] = client.get(f"/v1/documents/{made['id']}/attachments").json()["items"]
    assert (attached["subject"], attached["subject_id"], attached["role"]) == ("animal", animal_id, "vet's report")


@pytest.mark.parametrize(
    ("content", "media", "suffix"),
    [(PHOTOGRAPH, "image/jpeg", "jpg"), (png(), "image/png", "png"), (webp(), "image/webp", "webp"), (tiff(), "image/tiff", "tif")],
)
def test_of_a_photograph_only_the_picture_is_kept_and_given_out(client, folder, content, media, suffix):
    made = send(client, content, name="IMG_0001.HEIC.pdf", media="text/html").json()

    given = client.get(f"/v1/documents/{made['id']}/file")

    assert (made["media_type"], made["file_name"]) == (media, f"IMG_0001.HEIC.{suffix}")
    assert made["received_sha256"] == sha256(content).hexdigest()
    assert made["sha256"] == sha256(given.content).hexdigest() != made["received_sha256"]
    assert (given.headers["Content-Type"], len(given.content)) == (media, made["size_bytes"])
    assert CANARY.split()[0].encode() not in given.content
    assert CANARY.split()[0].encode() not in b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())
    assert opened(given.content).size in {(20, 40), (40, 20)}


def test_a_file_leaves_to_be_saved_and_is_never_shown(client):
    made = send(client, name="Kröte 水龟.pdf").json()

    given = client.get(f"/v1/documents/{made['id']}/file")

    assert given.content == PDF
    assert given.headers["Content-Type"] == "application/pdf"
    assert given.headers["Content-Length"] == str(len(PDF))
    assert given.headers["Content-Disposition"] == (
        "attachment; filename=\"Kro_te __.pdf\"; filename*=UTF-8''Kr%C3%B6te%20%E6%B0%B4%E9%BE%9F.pdf"
    )
    assert given.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in given.headers["Content-Security-Policy"]
    assert "default-src 'none'" in given.headers["Content-Security-Policy"]
    assert given.headers["Cache-Control"] == "no-store"
    assert given.headers["Repr-Digest"] == f"sha-256=:{base64.b64encode(sha256(PDF).digest()).decode()}:"


def test_a_file_that_the_caller_has_is_not_sent_again_and_one_may_ask_for_the_headers_alone(client):
    made = send(client).json()
    path = f"/v1/documents/{made['id']}/file"
    tag = client.get(path).headers["ETag"]

    again = client.get(path, headers={"If-None-Match": tag})
    head = client.request("HEAD", path)

    assert tag == f'"{made["sha256"]}"'
    assert (again.status_code, again.content) == (304, b"")
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200
    assert (head.status_code, head.headers["Content-Length"], head.content) == (200, str(len(PDF)), b"")


def send_raw(client, name):
    """Send a paper under a name as a hostile program would write it."""
    title = b'--b\r\nContent-Disposition: form-data; name="title"\r\n\r\nA paper\r\n'
    head = b'--b\r\nContent-Disposition: form-data; name="file"; filename="' + name.replace('"', "%22").encode() + b'"\r\n\r\n'
    content_type = {"Content-Type": "multipart/form-data; boundary=b"}
    return client.request("POST", "/v1/documents", content=title + head + PDF + b"\r\n--b--\r\n", headers=content_type)


def test_a_hostile_name_leads_nowhere_and_breaks_no_header(client, folder):
    kept = {}
    for said in (one for one in HOSTILE if one and "\ud800" not in one):
        # A name with a line's end is sent as no library would write it.
        sent = send_raw(client, said) if set(said) & {"\0", "\r", "\n"} else send(client, name=said)
        if sent.status_code == 400:
            assert set(said) & {"\r", "\n"}, "only a name with a line's end is no form"
            continue
        assert sent.status_code == 201, (said, sent.text)
        name = kept[said] = sent.json()["file_name"]
        given = client.request("HEAD", f"/v1/documents/{sent.json()['id']}/file")
        assert name.endswith(".pdf"), said
        assert not {"/", "\\", "\0", "\r", "\n", '"'} & set(name), said
        assert given.headers["Content-Disposition"].count('"') == 2, said
        assert "Set-Cookie" not in given.headers

    assert len(kept) >= 40
    assert (kept["../../etc/passwd"], kept[".htaccess"], kept["CON"]) == ("passwd.pdf", "htaccess.pdf", "_CON.pdf")
    assert files_in(folder) == [sha256(PDF).hexdigest()]


DISGUISED = [
    (b"<html><script>alert(1)</script></html>", "file-kind-unknown"),
    (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "file-kind-unknown"),
    (b"<?xml version='1.0'?><!DOCTYPE x [<!ENTITY y SYSTEM 'file:///etc/passwd'>]>", "file-kind-unknown"),
    (b"GIF89a\x01\0\x01\0\0\0\0;", "file-kind-unknown"),
    (b"MZ\x90\0\3\0\0\0", "file-kind-unknown"),
    (b"PK\x03\x04 a workbook", "file-kind-unknown"),
    (b"<html>" + PDF, "file-kind-unknown"),
    (PDF.replace(b"%PDF-1", b"%PDF-9"), "file-kind-unknown"),
    (PDF[:-8], "file-damaged"),
    (PDF + b"\0" * PDF_TAIL_BYTES, "file-damaged"),
    (PHOTOGRAPH[:500], "picture-damaged"),
    (b"", "file-empty"),
]


@pytest.mark.parametrize(("name", "media"), [("photo.jpg", "image/jpeg"), ("paper.pdf", "application/pdf")])
def test_a_disguised_or_damaged_file_is_refused_by_its_content_and_nothing_is_kept(client, folder, name, media):
    for content, code in DISGUISED:
        answer = send(client, content, name=name, media=media)

        assert (content[:20], *refused(answer)) == (content[:20], 422, code)
        assert answer.json()["errors"][0]["pointer"] == "/file"
    assert files_in(folder) == []
    assert client.get("/v1/documents").json()["items"] == []


def test_a_picture_with_too_many_pixels_is_refused(client, app, folder):
    app.state.house.settings = app.state.house.settings.model_copy(update={"max_picture_pixels": 799})

    assert refused(send(client, PHOTOGRAPH)) == (422, "picture-too-large")
    assert files_in(folder) == []


@pytest.mark.parametrize(("more", "status"), [(0, 201), (1, 413), (150_000, 413)])
def test_a_file_may_be_as_large_as_is_set(client, folder, more, status):
    body, end = PDF[:-6], PDF[-6:]
    content = body + b" " * (200_000 - len(PDF) + more) + end

    answer = send(client, content)

    assert answer.status_code == status, answer.text
    if status == 413:
        assert ("0.2 MB" if more == 1 else "300000 bytes") in answer.json()["detail"]
        assert files_in(folder) == []


def test_other_files_keep_their_own_limit(client, settings):
    assert settings.max_upload_bytes > settings.max_document_bytes
    content = b"name,zone\n" + b"x" * 300_000

    answer = client.request("POST", "/v1/imports?kind=sites&dry_run=true", files={"file": ("sites.csv", content)})

    assert answer.status_code == 202


@pytest.mark.parametrize(
    ("facts", "pointer", "code"),
    [
        ({"title": ""}, "/title", "string-too-short"),
        ({"title": "half \u202e"}, "/title", "hidden-character"),
        ({"dated_on": "27.2.2026"}, "/dated_on", "not-date"),
        ({"dated_on": "2026-03-02"}, "/dated_on", "in-future"),
        ({"subject": "animal"}, "/subject_id", "required"),
        ({"subject_id": str(uuid4())}, "/subject", "required"),
        ({"role": "x"}, "/subject", "required"),
        ({"subject": "animal", "subject_id": str(uuid4())}, "/subject_id", "reference-unknown"),
        ({"subject": "attachment", "subject_id": str(uuid4())}, "/subject", "kind-unknown"),
        ({"subject": "../x", "subject_id": str(uuid4())}, "/subject", "string-pattern-mismatch"),
        ({"subject": "animal", "subject_id": "7"}, "/subject_id", "not-id"),
        ({"id": str(uuid4())}, "/id", "uuid-version"),
        ({"media_type": "image/png"}, "/media_type", "unknown-field"),
        ({"sha256": "0" * 64}, "/sha256", "unknown-field"),
        ({"site_id": str(uuid4())}, "/site_id", "unknown-field"),
    ],
)
def test_what_is_said_wrongly_is_refused_by_its_field_and_nothing_is_kept(client, folder, facts, pointer, code):
    answer = send(client, **facts)

    assert (answer.status_code, [(one["pointer"], one["code"]) for one in answer.json()["errors"]]) == (422, [(pointer, code)])
    assert files_in(folder) == []


def test_parts_media_and_parameters_that_are_not_known_are_refused(client, folder):
    two = [("file", ("a.pdf", PDF)), ("file", ("b.pdf", PDF))]

    assert client.post("/v1/documents", {"title": "x"}).status_code == 415
    assert client.request("POST", "/v1/documents", content=PDF, headers={"Content-Type": "application/pdf"}).status_code == 415
    assert client.request("POST", "/v1/documents", files={"title": (None, "x")}).json()["errors"][0]["pointer"] == "/file"
    assert client.request("POST", "/v1/documents", files={"file": (None, "x"), "title": (None, "x")}).status_code == 422
    assert client.request("POST", "/v1/documents", files=two, data={"title": "x"}).status_code == 400
    assert client.request("POST", "/v1/documents", files={"file": ("a.pdf", PDF)}, data={"title": ["x", "y"]}).status_code in {400, 422}
    assert client.request("POST", "/v1/documents?title=x", files={"file": ("a.pdf", PDF)}).status_code == 422
    assert client.request("POST", "/v1/documents", content=b"--b", headers={"Content-Type": "multipart/form-data"}).status_code == 400
    assert files_in(folder) == []


def test_the_same_request_again_is_one_document(client, folder):
    key = {"Idempotency-Key": "paper-1"}

    first = send(client, headers=key)
    again = send(client, headers=key)
    other_file = send(client, PHOTOGRAPH, headers=key)
    other_title = send(client, title="Another", headers=key)

    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert {refused(one) for one in (other_file, other_title)} == {(422, "idempotency-key-reused")}
    assert len(client.get("/v1/documents").json()["items"]) == 1


def test_equal_files_lie_there_once_and_are_found_by_their_digest(client, folder):
    one, other = send(client).json(), send(client, title="The same again").json()

    found = client.get("/v1/documents", params={"sha256": one["sha256"]}).json()["items"]

    assert {each["id"] for each in found} == {one["id"], other["id"]}
    assert files_in(folder) == [one["sha256"]]


def test_a_caller_may_number_the_document(client):
    number = "019ca945-0a00-7303-9a41-d18b21ab2c99"

    assert send(client, id=number).json()["id"] == number
    assert refused(send(client, id=number)) == (409, "already-there")


def test_documents_are_filtered_by_one_attachment_and_not_by_two(client, animal_id, site_id):
    made = send(client, **of_animal(animal_id)).json()
    client.post(f"/v1/documents/{made['id']}/attachments", {"subject": "site", "subject_id": site_id})

    def found(**filters):
        return [one["id"] for one in client.get("/v1/documents", params=filters).json()["items"]]

    assert found(subject="site") == found(subject_id=animal_id) == found(subject="animal", subject_id=animal_id) == [made["id"]]
    assert found(subject="site", subject_id=animal_id) == found(subject="taxon") == found(subject_id=str(uuid4())) == []
    assert found(subject="site", subject_id=site_id, media_type="application/pdf") == [made["id"]]
    assert found(media_type="image/png") == []


def test_what_is_said_of_a_document_is_corrected_and_its_file_is_not(client):
    made = send(client).json()
    path = f"/v1/documents/{made['id']}"

    changed = client.patch(path, {"title": "A better title", "note": "n"}, If_Match='"1"')

    assert (changed.status_code, changed.json()["title"], changed.json()["version"]) == (200, "A better title", 2)
    assert client.patch(path, {"title": "x"}, If_Match='"1"').status_code == 412
    assert client.patch(path, {"title": "x"}).status_code == 428
    for field in ("file_name", "sha256", "media_type", "site_id", "subject", "id"):
        assert client.patch(path, {field: "x"}, If_Match='"2"').json()["errors"][0]["code"] == "unknown-field"


def test_a_document_ends_with_its_attachments_and_its_file_stays(client, folder, animal_id):
    made = send(client, **of_animal(animal_id)).json()
    path = f"/v1/documents/{made['id']}"

    ended = client.post(f"{path}/end", {"reason": "of another animal"})

    assert (ended.status_code, ended.json()["ended_on"]) == (200, "2026-03-01")
    assert client.get(f"{path}/attachments").json()["items"] == []
    assert client.get(f"{path}/attachments?ended=true").json()["items"][0]["end_reason"] == "of another animal"
    assert client.get("/v1/documents").json()["items"] == []
    assert client.get(f"{path}/file").content == PDF
    assert refused(client.post(f"{path}/attachments", {**of_animal(animal_id)})) == (409, "ended")
    assert refused(client.post(f"{path}/end", {"reason": "again"})) == (409, "ended")
    assert files_in(folder) == [made["sha256"]]


def test_attachments_are_added_and_taken_off(client, animal_id, site_id):
    made = send(client, **of_animal(animal_id)).json()
    path = f"/v1/documents/{made['id']}/attachments"

    added = client.post(path, {"subject": "site", "subject_id": site_id, "role": "licence", "note": "copy"})
    again = client.post(path, {"subject": "site", "subject_id": site_id})
    [first] = [one for one in client.get(path).json()["items"] if one["subject"] == "animal"]
    ended = client.post(f"{path}/{first['id']}/end", {"reason": "wrong animal"})

    assert (added.status_code, added.headers["Location"]) == (201, f"{path}/{added.json()['id']}")
    assert client.get(added.headers["Location"]).json() == added.json()
    assert refused(again) == (409, "attached")
    assert (ended.status_code, ended.json()["end_reason"]) == (200, "wrong animal")
    assert [one["subject"] for one in client.get(path).json()["items"]] == ["site"]
    assert client.get("/v1/documents", params=of_animal(animal_id)).json()["items"] == []
    assert client.get(f"/v1/documents/{uuid4()}/attachments/{first['id']}").status_code == 404
    assert client.post(f"/v1/documents/{uuid4()}/attachments/{first['id']}/end", {"reason": "x"}).status_code == 404


def test_another_organisations_document_answers_like_none(client, stranger, folder, animal_id):
    made = send(client, **of_animal(animal_id)).json()
    attachment = client.get(f"/v1/documents/{made['id']}/attachments").json()["items"][0]["id"]
    unknown = "019ca945-0a00-7303-9a41-d18b21ab2c01"

    def asked(document_id, attachment_id):
        path = f"/v1/documents/{document_id}"
        answers = [
            stranger.get(path),
            stranger.get(f"{path}/file"),
            stranger.get(f"{path}/attachments"),
            stranger.get(f"{path}/attachments/{attachment_id}"),
            stranger.patch(path, {"note": "n"}, If_Match='"1"'),
            stranger.post(f"{path}/end", {"reason": "x"}),
            stranger.post(f"{path}/attachments", {"subject": "animal", "subject_id": animal_id}),
            stranger.post(f"{path}/attachments/{attachment_id}/end", {"reason": "x"}),
        ]
        return [(one.status_code, one.text.replace(document_id, "").replace(attachment_id, "")) for one in answers]

    theirs = asked(made["id"], attachment)

    assert {status for status, _ in theirs} == {404}
    assert theirs == asked(unknown, unknown)
    assert send(stranger, **of_animal(animal_id)).json()["errors"] == send(stranger, **of_animal(unknown)).json()["errors"]
    assert stranger.get("/v1/documents", params={"sha256": made["sha256"]}).json()["items"] == []
    same = send(stranger).json()
    assert files_in(folder) == [made["sha256"], same["sha256"]]
    assert {path.parts[-3] for path in folder.rglob(made["sha256"])} == {str(makers.ORGANISATION), str(makers.OTHER_ORGANISATION)}


def test_taking_a_file_away_is_written_down_and_looking_at_the_record_is_not(client, store):
    made = send(client).json()
    path = f"/v1/documents/{made['id']}"

    client.get(path)
    client.get("/v1/documents")
    client.get(f"{path}/file")
    client.get(f"/v1/documents/{uuid4()}/file")

    with store.snapshot(makers.origin()) as unit:
        assert [(one.action, one.subject_id) for one in unit.all(ReadingLog, READINGS)] == [("get_document_file", UUID(made["id"]))]


@pytest.mark.parametrize("damage", ["missing", "damaged"])
def test_a_file_that_is_not_as_it_was_kept_is_not_given_out(client, folder, damage):
    made = send(client).json()
    [path] = folder.rglob(made["sha256"])
    path.unlink() if damage == "missing" else path.write_bytes(PDF + b"x")

    answer = client.get(f"/v1/documents/{made['id']}/file")

    assert refused(answer) == (503, f"file-{damage}")
    assert str(folder) not in answer.text
    assert send(client).status_code == 201
    assert client.get(f"/v1/documents/{made['id']}/file").content == PDF, "it was kept anew"


def test_a_refusal_after_the_file_was_kept_leaves_no_document(app, client, folder):
    house = app.state.house
    free, house.store = house.store, BusyStore(house.store, times=1000)

    answer = send(client)
    house.store = free

    assert answer.status_code == 503
    assert client.get("/v1/documents").json()["items"] == []
    assert files_in(folder) == [sha256(PDF).hexdigest()], "a file that no document has does no harm"


def test_a_file_that_was_let_go_of_meanwhile_is_kept_again_before_the_document_is_on_record(app, client, folder, store):
    house = app.state.house

    class Forgetful:
        """A place from which a run of retention takes the file before its document is on record."""

        def __getattr__(self, name):
            return getattr(kept, name)

        def keep(self, *what):
            kept.keep(*what)
            if not self.forgot:
                self.forgot = True
                kept.let_go(*what[:2])

        forgot = False

    kept, house.files = house.files, Forgetful()

    made = send(client).json()

    assert files_in(folder) == [made["sha256"]]
    with store.snapshot(makers.origin()) as unit:
        assert flaw_of(kept, makers.ORGANISATION, unit.fetch(Document, UUID(made["id"])).sha256) == ""


def test_files_in_a_bucket_are_taken_and_given_out_alike(app, client):
    large = PDF.replace(b"trailer", b"% reeds\n" * 20_000 + b"trailer")
    with bucket_server() as bucket:
        app.state.house.files = BucketFiles(bucket)

        for content, kept in ((PDF, PDF), (large, large), (PHOTOGRAPH, None)):
            made = send(client, content).json()
            given = client.get(f"/v1/documents/{made['id']}/file")
            assert (given.status_code, sha256(given.content).hexdigest()) == (200, made["sha256"])
            assert kept is None or given.content == kept
        objects = client_of(bucket).list_objects_v2(Bucket=bucket.name)["Contents"]

    assert {one["Key"].partition("/")[0] for one in objects} == {str(makers.ORGANISATION)}
    assert refused(send(client)) == (503, "storage-busy"), "the store is away now"


def test_without_a_place_for_files_none_is_taken(app, client):
    app.state.house.files = NoFiles()

    assert refused(send(client)) == (503, "no-place-for-files")
    assert client.get("/v1/documents").json()["items"] == []


@pytest.fixture
def places(store, site_id):
    """Return an animal at each of two sites, and the sites' ids."""
    with store.transaction(makers.origin()) as unit:
        taxon, there = makers.taxon(unit), makers.site(unit, name="Saltings Hall")
        found = {}
        for name, site in (("here", unit.fetch(Site, UUID(site_id))), ("there", there)):
            enclosure = makers.enclosure(unit, site)
            found[name] = str(makers.animal(unit, taxon, tag=name, enclosure_id=str(enclosure.id)).id)
        return {**found, "site": site_id, "other site": str(there.id), "taxon": str(taxon.id)}


def test_whoever_reaches_one_site_takes_and_gives_there_alone(client, caller, store, places, folder):
    bound = caller(people.key(store, scopes=sorted(Scope), site_ids=[places["site"]]))
    elsewhere = send(client, **of_animal(places["there"])).json()
    shared = send(client, PHOTOGRAPH).json()
    before = files_in(folder)

    own = send(bound, png(), **of_animal(places["here"]))
    others = [
        send(bound, webp(), **of_animal(places["there"])),
        send(bound, webp(), subject="taxon", subject_id=places["taxon"]),
        send(bound, webp()),
    ]

    assert (own.status_code, own.json()["site_id"]) == (201, places["site"])
    assert {refused(one) for one in others} == {(403, "other-site")}
    assert len(files_in(folder)) == len(before) + 1, "nothing is kept for whoever may not"
    for made in (elsewhere, shared):
        path = f"/v1/documents/{made['id']}"
        answers = [
            bound.get(path),
            bound.get(f"{path}/file"),
            bound.get(f"{path}/attachments"),
            bound.patch(path, {"note": "n"}, If_Match='"1"'),
            bound.post(f"{path}/end", {"reason": "x"}),
            bound.post(f"{path}/attachments", of_animal(places["here"])),
        ]
        assert {one.status_code for one in answers} == {403}
    assert bound.post(f"/v1/documents/{own.json()['id']}/attachments", of_animal(places["there"])).status_code == 403
    assert [one["id"] for one in bound.get("/v1/documents").json()["items"]] == [own.json()["id"]]


def test_the_history_of_an_animal_tells_of_the_documents_that_the_caller_reaches(app, client, caller, store, places):
    bound = caller(people.key(store, scopes=sorted(Scope), site_ids=[places["site"]]))
    own = send(client, role="portrait", dated_on="2026-02-01", **of_animal(places["here"])).json()
    elsewhere = send(client, png(), dated_on="2026-02-02", **of_animal(places["there"])).json()
    app.state.house.clock = lambda: makers.NOON.replace(minute=1)
    client.post(f"/v1/documents/{elsewhere['id']}/attachments", of_animal(places["here"]))

    told, told_bound = (one.get(f"/v1/animals/{places['here']}/history").json()["documents"] for one in (client, bound))

    assert [(one["id"], one["role"]) for one in told] == [(own["id"], "portrait"), (elsewhere["id"], None)]
    assert told_bound == told[:1]


def test_the_description_says_how_a_document_is_sent_and_what_its_file_may_be(app):
    described = app.openapi()
    form = described["paths"]["/v1/documents"]["post"]["requestBody"]["content"]["multipart/form-data"]["schema"]
    file = described["paths"]["/v1/documents/{document_id}/file"]["get"]["responses"]["200"]["content"]

    assert form["required"] == ["file", "title"]
    assert set(form["properties"]) == {"file", "id", "title", "dated_on", "reference", "note", "subject", "subject_id", "role"}
    assert form["properties"]["subject_id"] == {"type": "string", "format": "uuid"}
    assert "null" not in json.dumps(form)
    assert set(file) == {"application/pdf", "image/jpeg", "image/png", "image/webp", "image/tiff"}
