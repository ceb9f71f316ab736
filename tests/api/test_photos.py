"""Photos of a job: taken by content, kept beside the database under their SHA-256, told when they were changed since."""

import hashlib

from scheduler.domain.base.enums import Role
from tests.api.stage import Stage

JOB = "knife_inspection:plover-pump-b-knives:1"
SEND = f"/api/v1/jobs/{JOB}/photos"
PNG = b"\x89PNG\r\n\x1a\n" + b"knife edge" * 40


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
    sent = browser.post(f"{path}/photos", data=form, files={"photo": ("p.jpg", b"\xff\xd8\xff\xe0 picture")})
    assert sent.status_code == 303, sent.text
    page = browser.get(path).text
    assert f"{SEND}/" in page
    address = page.split('<img src="')[1].split('"')[0]
    assert browser.get(address).headers["content-type"] == "image/jpeg"
