"""Logs: no key, feed address or sign-in link gets into them, by whatever way it came."""

import json
import logging
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from api.server.app import make_app
from api.server.logs import clean, hide_secrets, set_up
from scheduler.actions.base.actor import Actor
from scheduler.actions.base.context import Context
from scheduler.actions.people import people
from scheduler.domain.base.enums import Role
from scheduler.settings import Settings

TOKEN = st.text("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_", min_size=43, max_size=43)
ME = Actor("test", "test", Role.ADMIN)


@pytest.fixture
def written(capsys: pytest.CaptureFixture[str]) -> Iterator[Callable[[], str]]:
    """What standard output got so far; logging is as before afterwards."""
    root = logging.getLogger()
    level, handlers = root.level, root.handlers[:]
    yield lambda: capsys.readouterr().out
    root.setLevel(level)
    root.handlers[:] = handlers


@given(
    token=TOKEN,
    start=st.sampled_from(["/cal/", "/enter/", "ll_0a1b2c3d_"]),
    rest=st.sampled_from(["", " ", "/x", "?y", '"']),
)
def test_no_secret_passes(token: str, start: str, rest: str) -> None:
    """Whatever stands around it; what is no secret stays."""
    found = clean(f"GET http://ship{'/' if start[0] == 'l' else ''}{start}{token}{rest} kept")
    assert token not in found
    assert "***" in found
    assert found.startswith("GET http://ship")
    assert found.endswith(f"{rest} kept")


@pytest.mark.parametrize("form", ["text", "json", "auto"])
def test_secrets_in_words_arguments_and_traces_are_replaced(written: Callable[[], str], form: str) -> None:
    """In the sentence, in its arguments, in an error's trace."""
    secret = "ll_0a1b2c3d_" + "x" * 43
    set_up(form)
    log = logging.getLogger("leadline")
    log.info("key %s and /cal/%s/plan.ics", secret, "y" * 43)
    log.info("as a dict %(key)s", {"key": secret})
    try:
        raise ValueError(f"no such key {secret}")
    except ValueError:
        log.exception("it went wrong with %s", secret)
    text = written()
    assert "it went wrong with ll_***" in text
    assert "no such key ll_***" in text
    assert "x" * 43 not in text
    assert "y" * 43 not in text
    if form != "text":  # nothing of this is a terminal
        lines = [json.loads(line) for line in text.splitlines()]
        assert lines[0]["says"] == "key ll_*** and /cal/***/plan.ics"
        assert {"at", "level", "from", "says"} <= lines[0].keys()
        assert "Traceback" in lines[2]["trace"]


def test_hiding_twice_adds_one_filter() -> None:
    """Every start calls it; filters do not pile up."""
    hide_secrets()
    before = {name: len(logging.getLogger(name).filters) for name in ("leadline", "uvicorn.access")}
    hide_secrets()
    assert {name: len(logging.getLogger(name).filters) for name in before} == before


@pytest.mark.long
def test_a_server_at_work_logs_no_secret(
    written: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A key refused and taken, a feed fetched, a link followed, a door that breaks down: none of the secrets is logged."""
    set_up("json", "debug")
    app = make_app(Settings(database=str(tmp_path / "ship.db")), timers=False)
    context: Context = app.state.context
    people.add_person(context, ME, person_id="office", name="O", rank="office", role=Role.OFFICE, vessel_id=None)
    key = people.add_key(context, ME, role=Role.OFFICE, label="desk", person_id="office")
    link = people.make_link(context, "office")
    feed_token, wrong = "f" * 43, "ll_00000000_" + "w" * 43

    def breaks(*_: object) -> None:
        raise RuntimeError(f"broken with {key}, /cal/{feed_token}/plan.ics and /enter/{link}")

    with TestClient(app, raise_server_exceptions=False) as client:
        assert client.get("/api/v1/vessels", headers={"Authorization": f"Bearer {wrong}"}).status_code == 401
        assert client.get(f"/cal/{feed_token}/plan.ics").status_code == 404
        assert client.post(f"/enter/{link}").status_code == 200
        assert client.get("/api/v1/vessels", headers={"Authorization": f"Bearer {key}"}).status_code == 200
        monkeypatch.setattr(people, "who_holds", breaks)
        assert client.get("/api/v1/vessels", headers={"Authorization": f"Bearer {key}"}).status_code == 500
    text = written()
    assert "unforeseen RuntimeError" in text
    for secret in (key, key.split("_", 2)[2], link, feed_token, wrong.split("_", 2)[2]):
        assert secret not in text
