"""What is shown this once is made once under its Idempotency-Key: a repetition is refused in words; the secret is kept nowhere."""

import re
from typing import Any

import pytest

from scheduler.actions.people import sessions
from scheduler.domain.base.enums import Role
from tests.api.stage import Stage

DOORS: dict[str, tuple[str, dict[str, Any], str]] = {
    "feed": ("/api/v1/feeds", {"vessel": "demo-plover"}, "calendar address"),
    "key": (
        "/api/v1/keys",
        {"role": "counter", "label": "gateway", "vessel": "demo-plover"},
        "key",
    ),
    "link": ("/api/v1/people/engineer-plover/link", {}, "sign-in link"),
}


def _count(stage: Stage) -> tuple[int, int]:
    return (
        len(stage.ask("GET", "/api/v1/keys", role=Role.CHIEF).json()["keys"]),
        len(stage.ask("GET", "/api/v1/feeds", role=Role.CHIEF).json()["feeds"]),
    )


def _secrets(text: str) -> set[str]:
    return set(re.findall(r"ll_\w{8}_[\w-]{20,}|[\w-]{43}", text))


@pytest.mark.parametrize("door", DOORS)
def test_a_repetition_makes_no_second_secret(fresh: Stage, door: str) -> None:
    """409 with what was made and what to do; another body under the same key 422; a new key, or none, makes another."""
    path, body, made = DOORS[door]
    first = fresh.ask("POST", path, role=Role.CHIEF, once="one", json=body)
    assert first.status_code == 201, first.text
    found = _secrets(first.text)
    assert found
    count = _count(fresh)
    again = fresh.ask("POST", path, role=Role.CHIEF, once="one", json=body)
    assert again.status_code == 409
    assert again.json()["made"].startswith(made)
    assert "ask again under a new Idempotency-Key" in again.json()["detail"]
    assert not _secrets(again.text)
    assert _count(fresh) == count
    other = fresh.ask("POST", path, role=Role.CHIEF, once="one", json={**body, "label": "x", "vessel": "demo-plover"})
    assert other.status_code == 422
    assert fresh.ask("POST", path, role=Role.CHIEF, once="two", json=body).status_code == 201
    assert fresh.ask("POST", path, role=Role.CHIEF, once="", json=body).status_code == 201
    kept = fresh.database.read_bytes() + fresh.database.with_name("ships.db-wal").read_bytes()
    assert not [one for one in found if one.encode() in kept]


def test_a_key_and_an_address_change_once(fresh: Stage) -> None:
    """Rotating, sent twice."""
    made = fresh.ask("POST", DOORS["key"][0], role=Role.CHIEF, json=DOORS["key"][1]).json()["key"]
    address = fresh.ask("POST", DOORS["feed"][0], role=Role.CHIEF, json=DOORS["feed"][1]).json()["id"]
    for path, body in ((f"/api/v1/keys/{made.split('_')[1]}/rotate", {}), (f"/api/v1/feeds/{address}/rotate", None)):
        sent = {} if body is None else {"json": body}
        assert fresh.ask("POST", path, role=Role.CHIEF, once=path, **sent).status_code in (200, 201), path
        again = fresh.ask("POST", path, role=Role.CHIEF, once=path, **sent)
        assert again.status_code == 409, path
        assert "kept nowhere" in again.json()["detail"]


@pytest.mark.long
def test_the_pages_forms_make_once_too(fresh: Stage) -> None:
    """A form sent twice (a second tap, Back and again) is refused in words the second time."""
    browser = fresh.enter("chief-plover")
    signed = sessions.at_browser(fresh.context, browser.cookies["leadline"])
    assert signed is not None
    for path, typed in (
        ("/feeds", {"vessel": "demo-plover", "label": "bridge"}),
        ("/people", {"do": "key", "whose": "", "label": "gateway"}),
        ("/people", {"do": "link", "who": "demo-plover/engineer-plover"}),
    ):
        page = browser.get(path).text
        assert 'name="idempotency_key"' in page
        form = {"csrf": signed.csrf, "idempotency_key": f"page {typed}"[:60], **typed}
        assert browser.post(path, data=form).status_code == 201, (path, typed)
        again = browser.post(path, data=form)
        assert again.status_code == 409, path
        assert "was shown that once" in again.text
