"""Photos of a job: taken by content, kept beside the database under their SHA-256, told when they were changed since."""

import hashlib
import os
from pathlib import Path

import pytest
from sqlmodel import select

from scheduler.actions.work.photos import sweep_photos
from scheduler.domain.base.enums import Role
from scheduler.storage.photos import files
from scheduler.storage.photos.rows import PhotoFileRow
from tests.api.stage import Stage
from tests.pictures import POSITION, exif_with_position, picture

JOB = "knife_inspection:plover-pump-b-knives:1"
DAY = 86_400
SEND = f"/api/v1/jobs/{JOB}/photos"
PNG, JPEG = picture("PNG"), picture("JPEG")


def test_a_photo_is_kept_listed_and_served_with_headers_that_let_it_be_nothing_else(fresh: Stage) -> None:
    """Its name says nothing, its content all; the hash is on record; the same picture twice is one record."""
    sent = fresh.ask("POST", SEND, files={"photo": ("x.html", PNG, "text/html")}, data={"text": "worn edge"})
    assert sent.status_code == 201, sent.text
    digest = hashlib.sha256(PNG).hexdigest()
    assert (sent.json()["sha256"], sent.json()["media_type"]) == (digest, "image/png")
    assert fresh.ask("POST", SEND, files={"photo": ("y.png", PNG)}).json()["record"] == sent.json()["record"]
    (kept,) = fresh.ask("GET", SEND).json()["photos"]
    assert (kept["text"], kept["bytes"]) == ("worn edge", len(PNG))
    shown = fresh.ask("GET", f"{SEND}/{digest}")
    assert shown.content == PNG
    assert shown.headers["content-type"] == "image/png"
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in shown.headers["content-security-policy"]
    assert digest in fresh.ask("GET", "/api/v1/history?vessel=demo-plover", role=Role.CHIEF).text
    (file,) = fresh.database.with_name(f"{fresh.database.name}.photos").rglob("*.png")
    file.write_bytes(PNG + b"!")
    changed = fresh.ask("GET", f"{SEND}/{digest}")
    assert changed.status_code == 404
    assert "not the one that record" in changed.json()["detail"]


@pytest.mark.long
def test_what_is_no_picture_or_too_large_is_refused_and_leaves_nothing(fresh: Stage) -> None:
    """By content, whatever the name says; in words; no file and no record."""
    svg = fresh.ask("POST", SEND, files={"photo": ("x.png", b"<svg onload=alert(1)>", "image/png")})
    assert svg.status_code == 422
    assert "JPEG, PNG or WebP" in svg.json()["detail"]
    large = fresh.ask("POST", SEND, files={"photo": ("x.png", PNG + bytes(3_200_000))})
    assert large.status_code == 413
    assert "Make it smaller" in large.json()["detail"]
    assert fresh.ask("GET", SEND).json()["photos"] == []
    assert not list(fresh.database.parent.rglob("*.png"))


def test_a_photo_is_added_on_the_page_also_after_the_job_was_closed(fresh: Stage) -> None:
    """A plain form; a picture found later is still a fact."""
    browser = fresh.enter("chief-plover")
    path = f"/vessels/demo-plover/jobs/{JOB}"
    csrf = browser.get(path).text.split('name="csrf" value="')[1].split('"')[0]
    assert fresh.close(JOB).status_code == 200
    form = {"csrf": csrf, "idempotency_key": "photo-1", "text": "gap"}
    sent = browser.post(f"{path}/photos", data=form, files={"photo": ("p.jpg", JPEG)})
    assert sent.status_code == 303, sent.text
    page = browser.get(path).text
    assert f"{SEND}/" in page
    address = page.split('<img src="')[1].split('"')[0]
    assert browser.get(address).headers["content-type"] == "image/jpeg"


def _files(stage: Stage) -> list[Path]:
    return [one for one in stage.database.with_name(f"{stage.database.name}.photos").rglob("*") if one.is_file()]


def test_where_a_photo_was_taken_is_not_kept(fresh: Stage) -> None:
    """What was sent with a position is stored and shown without; the record has the hash of what is stored."""
    sent = fresh.ask("POST", SEND, files={"photo": ("x.jpg", picture("JPEG", exif=exif_with_position().tobytes()))})
    (file,) = _files(fresh)
    assert POSITION not in file.read_bytes()
    assert sent.json()["sha256"] == hashlib.sha256(file.read_bytes()).hexdigest()
    assert sent.json()["bytes"] == file.stat().st_size


def test_a_photo_of_no_job_leaves_no_file(fresh: Stage) -> None:
    """The job is looked for before anything is written; so is the Idempotency-Key."""
    unknown = "/api/v1/jobs/knife_inspection:plover-pump-b-knives:99/photos"
    assert (
        fresh.ask("POST", unknown.replace("knife_inspection", "none"), files={"photo": ("x.png", PNG)}).status_code
        == 404
    )
    assert fresh.ask("POST", SEND, files={"photo": ("x.png", PNG)}, once="").status_code == 428
    assert _files(fresh) == []


def test_a_photo_whose_record_cannot_be_written_leaves_no_file_and_one_that_was_there_stays(
    fresh: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The commit fails after the file is written: the file goes with the record. A file with a record is never touched."""
    assert fresh.ask("POST", SEND, files={"photo": ("x.png", PNG)}).status_code == 201

    def full(_: object) -> None:
        raise OSError(28, "No space left on device")

    for content in (PNG, JPEG):
        with monkeypatch.context() as patched:
            patched.setattr("sqlmodel.Session.commit", full)
            other = SEND.replace("pump-b", "pump-a")
            assert fresh.ask("POST", other, files={"photo": ("x", content)}).status_code >= 500
        (file,) = _files(fresh)
        assert file.read_bytes() == PNG


def test_without_a_folder_photos_are_rows_that_stand_or_fall_with_their_record(
    fresh: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on PostgreSQL without photo_folder: read back byte for byte, the same picture once, none left of a record that was undone,
    nothing swept; a file from before is still found."""
    before = fresh.ask("POST", SEND, files={"photo": ("x.png", PNG)}).json()
    root = files.photo_root("", fresh.context.db.path)
    monkeypatch.setattr("scheduler.storage.photos.files.photo_root", lambda *_: None)

    def rows() -> list[tuple[str, bytes]]:
        with fresh.context.db.read() as session:
            return [(row.name, row.content) for row in session.exec(select(PhotoFileRow))]

    with monkeypatch.context() as patched:
        patched.setattr("sqlmodel.Session.commit", lambda _: (_ for _ in ()).throw(OSError(28, "full")))
        assert fresh.ask("POST", SEND, files={"photo": ("x", JPEG)}).status_code >= 500
    assert rows() == []
    sent = fresh.ask("POST", SEND, files={"photo": ("x.jpg", JPEG)})
    assert (sent.status_code, len(rows())) == (201, 1)
    other = fresh.ask("POST", SEND.replace("pump-b", "pump-a"), files={"photo": ("x.jpg", JPEG)})
    assert (other.status_code, len(rows())) == (201, 1)
    shown = fresh.ask("GET", f"{SEND}/{sent.json()['sha256']}")
    assert (shown.status_code, shown.content) == (200, rows()[0][1])
    assert sweep_photos(fresh.context) == 0
    assert len(rows()) == 1
    assert fresh.ask("GET", f"{SEND}/{before['sha256']}").status_code == 404
    monkeypatch.setattr("scheduler.storage.photos.files.photo_root", lambda *_: root)
    for one in (before, sent.json()):
        assert fresh.ask("GET", f"{SEND}/{one['sha256']}").status_code == 200


def test_photos_are_for_their_owner_alone(fresh: Stage) -> None:
    """Nobody else on the machine reads the file or lists the folder."""
    fresh.ask("POST", SEND, files={"photo": ("x.png", PNG)})
    (file,) = _files(fresh)
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700
    assert file.parent.parent.stat().st_mode & 0o777 == 0o700


def test_what_a_power_cut_left_without_a_record_is_swept_a_day_later(fresh: Stage) -> None:
    """A file and a draft that no record names; what is younger than a day, or on record, stays, however old."""
    assert fresh.ask("POST", SEND, files={"photo": ("x.png", PNG)}).status_code == 201
    (kept,) = _files(fresh)
    orphan, draft, young = (kept.with_name(name) for name in (f"{'0' * 64}.png", ".draft-x", f"{'1' * 64}.jpg"))
    now = fresh.clock.at.timestamp()
    for file, age in ((kept, 90 * DAY), (orphan, DAY + 1), (draft, DAY + 1), (young, DAY)):
        file.write_bytes(file.read_bytes() if file.exists() else b"half")
        os.utime(file, (now - age, now - age))
    assert sweep_photos(fresh.context) == 2
    assert set(_files(fresh)) == {kept, young}
    assert sweep_photos(fresh.context) == 0


def test_an_orphan_that_is_sent_again_is_no_orphan(fresh: Stage) -> None:
    """It is as if written anew, so that a sweep between file and record leaves it."""
    files.store_photo(fresh.database.parent / "p", "a.png", PNG)
    there = fresh.database.parent / "p" / "a.png"
    os.utime(there, (0, 0))
    files.store_photo(there.parent, "a.png", PNG)
    assert there.stat().st_mtime > 0
