"""On the pages of a ship nothing stands that no catalogue says, but names, figures and what people wrote."""

import re
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import pytest
from sqlalchemy import text

from scheduler import language
from scheduler.actions.vessel.document import document_of
from seed_fleet.ships import PLOVER
from tests.api.conftest import module_stage, stage  # noqa: F401 - fixtures
from tests.api.stage import Stage
from tests.api.test_doors import WALKS, csrf_of
from tests.language.marking import FIRST, LAST, Marking, outside, unmarked

NO_PAGE = re.compile(r"/(api/|cal/|metrics|openapi|docs|livez|readyz|problems|manual|feeds/|enter/)|.*calendar\.csv")
"""Machines' answers, and the manual, whose texts are no messages: tests/api/test_manual_german.py."""
NAMES = ("Leadline", "English", "Deutsch", "AUTO", "LEL", "UTC", "kPa", "ppm", "min", "CSV", "Excel", "PIN")


@pytest.fixture
def marked(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> Stage:  # noqa: F811 - the fixture
    """Everybody reads the language of marks."""
    monkeypatch.setattr(language, "catalogue_of", lambda _: Marking())
    with stage.context.db.write("") as session:
        session.connection().execute(text("UPDATE person SET language = 'de'"))
    return stage


@pytest.mark.long
def test_every_word_of_a_page_is_in_the_catalogues(marked: Stage) -> None:
    """Shown in the language of marks: a text outside them was never asked of a catalogue."""
    browser, found = marked.enter("chief-plover"), dict[str, list[str]]()
    names = [*NAMES, *_names(marked)]
    for door, path in _pages(marked):
        answer = browser.get(path, headers={"Accept": "text/html", "Accept-Language": "de"}, follow_redirects=True)
        left = unmarked(answer.text, names)
        if left:
            found.setdefault(door, []).extend(left)
    assert found == {}, f"English alone on {sorted(found)}"


TYPED = (
    "x",
    "soon",
    "walked",
    "none",
    "nobody",
    "knife set",
    "2026-13",
    "Demo Hand",
    "A. Second",
    "passed",
    "not checked",
)
"""What the forms are sent with, and what stands in the record of a job that one of them closed: it is shown as it stands."""


@pytest.mark.long
@pytest.mark.parametrize("person", ["chief-plover", "engineer-plover"])
def test_every_word_of_a_refused_form_is_in_the_catalogues(marked: Stage, person: str) -> None:
    """As a person sends it, with nothing in its fields, and with what cannot be in each: what the page says, and at the fields."""
    browser, found = marked.enter(person), dict[str, list[str]]()
    names = [*NAMES, *TYPED, *_names(marked)]
    token = csrf_of(marked, browser)
    for (method, door), walk in sorted(WALKS.items()):
        if method != "POST" or not walk.form or door in ("/sign-out", "/first-run"):
            continue
        given = {name: value for name, value in dict(walk.body or {}).items() if isinstance(value, str)}
        forms = (given, {name: value if name == "do" else "" for name, value in given.items()})
        if person == "chief-plover":
            forms += ({name: value if name in ("do", "idempotency_key") else "x" for name, value in given.items()},)
        for number, form in enumerate(forms):
            data = {**form, "csrf": token, "idempotency_key": f"{person} {door} {number}"}
            headers = {"Accept": "text/html", "Accept-Language": "de"}
            answer = browser.post(walk.path, data=data, headers=headers, follow_redirects=False)
            left = unmarked(answer.text, names) if answer.status_code >= 400 else []
            left = [one for one in left if not one.startswith("Never recorded: ")]
            if left:
                found.setdefault(door, []).extend(one for one in left if one not in found.get(door, []))
    assert not found, "\n".join(f"English alone on {door}: {left}" for door, left in sorted(found.items()))


def _pages(marked: Stage) -> Iterator[tuple[str, str]]:
    for (method, door), walk in sorted(WALKS.items()):
        if method == "GET" and not NO_PAGE.match(door):
            yield door, walk.path
    kinds = {kind: job["job"] for (kind, _), job in marked.due().items()}
    for job in kinds.values():
        yield "/vessels/{vessel_id}/jobs/{key}", f"/vessels/{PLOVER.vessel}/jobs/{job}"


def _names(marked: Stage) -> Iterator[str]:
    """Whatever the ship's own document says, and its people: names, kinds, steps of sheets."""
    with marked.context.db.read() as session:
        document = asdict(document_of(session, PLOVER.vessel)[0])
        yield from _strings(document)
        for kind in document["plants"][0]["job_kinds"]:
            yield kind["name"].split()[0]
        for block in document["plants"][0]["minimum_blocks"]:
            yield block["label"].capitalize()
        for row in session.connection().execute(text("SELECT label FROM api_key")):
            yield from row
        for row in session.connection().execute(text("SELECT name, rank FROM person")):
            yield from row


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for one in value:
            yield from _strings(one)
    elif isinstance(value, str):
        yield " ".join(value.split())


def test_what_is_not_asked_of_a_catalogue_is_found() -> None:
    """A text beside a message, in it, in an attribute; names and what stands inside marks are left out."""
    page = f"<p>{FIRST}Said {FIRST}VP1{LAST} so{LAST} left <b>Demo Plover</b></p><p title='told'>{FIRST}cut</p><p>knife</p>"
    assert unmarked(page, ["Demo Plover", "Knife"]) == ["left", "told"]
    assert outside(f"a{FIRST}b{LAST}c") == ("a   c", 0)
