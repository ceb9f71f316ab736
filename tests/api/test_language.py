"""Each person reads the pages in the language they chose; nobody else does, and nothing that is stored changes."""

import io

import openpyxl
import pytest
from sqlalchemy import inspect, text

from scheduler import language
from scheduler.domain.base.enums import Role
from tests.api.stage import PLOVER, Stage
from tests.api.test_doors import WALKS, address, csrf_of
from tests.language.marking import FIRST, Marking

PLANT = f"/plants/{PLOVER.key}-plant"
GERMAN = {"Accept": "text/html", "Accept-Language": "de-DE,de;q=0.9"}


def test_before_sign_in_it_is_the_browsers(stage: Stage) -> None:
    """The page to sign in is German for a German browser, English for any other."""
    told = stage.client.get("/sign-in", headers=GERMAN).text
    assert '<html lang="de"' in told
    assert "Anmelden" in told
    told = stage.client.get("/sign-in", headers={"Accept-Language": "fr"}).text
    assert '<html lang="en"' in told
    assert "Sign in" in told


def test_an_error_before_sign_in_is_the_browsers_too(stage: Stage) -> None:
    """A page that is not there says so in that language."""
    assert '<html lang="de"' in stage.client.get("/nowhere", headers=GERMAN).text


def test_a_person_chooses_and_nobody_else_changes(stage: Stage) -> None:
    """On the own page; the browser's language does not matter any more, and the API and others stay English."""
    chief, engineer = stage.enter("chief-plover"), stage.enter("engineer-plover")
    assert '<html lang="en"' in chief.get(PLANT, headers=GERMAN).text
    chosen = {"csrf": csrf_of(stage, chief), "do": "language", "language": "de"}
    assert chief.post("/you", data=chosen).status_code == 303
    assert '<html lang="de"' in chief.get(PLANT).text
    assert '<html lang="en"' in engineer.get(PLANT).text
    people = stage.ask("GET", "/api/v1/people", role=Role.CHIEF).json()["people"]
    assert {one["id"]: one["language"] for one in people if one["id"] in ("chief-plover", "engineer-plover")} == {
        "chief-plover": "de",
        "engineer-plover": "en",
    }
    english = stage.ask("GET", "/api/v1/vessels/none", role=Role.CHIEF).json()["detail"]
    assert chief.get("/api/v1/vessels/none").json()["detail"] == english
    assert chief.post("/you", data={**chosen, "language": "en"}).status_code == 303


@pytest.mark.parametrize("code", ["", "xx", "DE", "de\x00", "d" * 9999])
def test_a_language_not_spoken_is_refused(stage: Stage, code: str) -> None:
    """On the page and by the API, in words that name those there are."""
    chief = stage.enter("chief-plover")
    answer = chief.post("/you", data={"csrf": csrf_of(stage, chief), "do": "language", "language": code})
    assert answer.status_code == 422
    body = {"name": "Demo engineer", "rank": "engineer", "role": "engineer", "language": code}
    told = stage.ask("PUT", "/api/v1/people/engineer-plover", role=Role.CHIEF, json=body)
    assert told.status_code == 422
    if code == "xx":
        assert "en (English), de (Deutsch)" in told.json()["detail"]


def test_who_manages_people_sets_it_by_the_api(stage: Stage) -> None:
    """Left out, it stays."""
    body = {"name": "Demo engineer", "rank": "engineer", "role": "engineer"}
    for more, expected in (({"language": "de"}, "de"), ({}, "de"), ({"language": "en"}, "en")):
        assert stage.ask("PUT", "/api/v1/people/engineer-plover", role=Role.CHIEF, json={**body, **more}).is_success
        people = stage.ask("GET", "/api/v1/people", role=Role.CHIEF).json()["people"]
        assert next(one["language"] for one in people if one["id"] == "engineer-plover") == expected


def test_who_reads_german_takes_english_papers_out(stage: Stage) -> None:
    """The workbook, whose first sheet has the words of the paper, fetched by a browser whose pages are German."""
    chief = stage.enter("chief-plover")
    chosen = {"csrf": csrf_of(stage, chief), "do": "language", "language": "de"}
    assert chief.post("/you", data=chosen).status_code == 303
    made = chief.get(f"/api/v1/history?vessel={PLOVER.vessel}&format=xlsx", headers=GERMAN)
    book = openpyxl.load_workbook(io.BytesIO(made.content))
    said = " ".join(str(cell.value or "") for row in book["Answer"] for cell in row)
    assert "Compliance history" in said
    assert "No job fell due." in said or "fell due:" in said
    assert "in window" in said
    assert book.sheetnames[1:3] == ["Jobs", "Not done"]
    assert chief.post("/you", data={**chosen, "language": "en"}).status_code == 303


@pytest.fixture
def marked(fresh: Stage, monkeypatch: pytest.MonkeyPatch) -> Stage:
    """Everybody reads the language of marks."""
    monkeypatch.setattr(language, "catalogue_of", lambda _: Marking())
    with fresh.context.db.write("") as session:
        session.connection().execute(text("UPDATE person SET language = 'de'"))
    return fresh


@pytest.mark.long
def test_what_is_stored_stays_english(marked: Stage) -> None:
    """Every form of the pages sent, a close that skips the work among them, leaves no word of that language on record, in a
    calendar, or anywhere but in answers kept for a repeated key."""
    browser = marked.enter("chief-plover")
    csrf, stored = csrf_of(marked, browser), 0
    for (method, door), walk in sorted(WALKS.items()):
        if method == "POST" and walk.form and door not in ("/sign-out", "/people", "/you"):
            told = {**(walk.body or {}), "csrf": csrf, "idempotency_key": f"walk {door}"}
            answer = browser.post(address(marked, walk.path), data=told)
            assert answer.status_code < 500, door
            stored += answer.status_code in (201, 303)
    assert stored > 5
    skipped = {"done_at": "2026-10-20T06:30", "done_by": "A. Chief", "test": "passed", "reason": "in haste"}
    job = f"knife_inspection:{PLOVER.key}-pump-a-knives:1"
    told = {**skipped, "csrf": csrf, "idempotency_key": "close", "utc_offset_minutes": "60", "hands": "1"}
    answer = browser.post(f"/vessels/{PLOVER.vessel}/jobs/{job}/close", data=told)
    assert answer.status_code == 303
    marked.client.app.state.refresh(PLOVER.vessel)  # type: ignore[attr-defined]
    with marked.context.db.read() as session:
        connection = session.connection()
        for table in inspect(connection).get_table_names():
            rows = connection.execute(text(f'SELECT * FROM "{table}"')).all()
            said = [str(value) for row in rows for value in row if isinstance(value, str)]
            assert table == "idempotency" or not [one for one in said if FIRST in one], table
            assert table != "record" or any("Never recorded: permit" in one for one in said)
