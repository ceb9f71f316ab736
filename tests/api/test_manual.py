"""The manual aboard: it opens for everyone, leads nowhere wrong, names what is on the pages, and its lists are the code's."""

import re
import shlex
from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from typer.main import get_command

from api.commands.app import app as command_line
from api.commands.shared.exit_codes import ExitCode
from api.pages.manual.chapters import DRAWN, PARTS, TEXTS, chapter, found_in_manual, names, part_of, size_of
from api.pages.manual.lists import ROLES, STATES, VERDICTS
from api.pages.shared.help import HELP, MANUAL, anchor_of, manual_href
from api.pages.shared.layout import STATIC
from api.server.access import DOORS
from api.server.errors import STATUS, slug
from scheduler.domain.base.enums import JobState, Role
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.job_kinds import OPENING_CAUTION
from scheduler.settings import Settings
from tests.api.stage import Stage
from tests.api.test_doors import WALKS

ROOT = Path(__file__).parents[2]
MOST_PICTURE_BYTES, MOST_PICTURES_BYTES = 110_000, 400_000
BROWSER = {"Accept": "text/html"}
TASKS = [name for part in PARTS[:-1] for name in part.names]
"""Every page but those that explain words and limits."""
HANDS_ON = ("job", "before", "isolation", "opening", "back", "test", "breakdown", "limits")
"""Pages about work that can hurt someone."""


def _source(name: str) -> str:
    return (TEXTS / f"{name}.md").read_text(encoding="utf-8")


def _page(stage: Stage, name: str) -> str:
    answer = stage.ask("GET", f"{MANUAL}/{name}" if name else MANUAL, role=None, headers=BROWSER)
    assert answer.status_code == 200, name
    return str(answer.text)


def test_every_text_is_in_the_contents_once() -> None:
    """Nothing lies in the folder that nobody finds, and nothing is listed that is not there."""
    assert sorted(names()) == sorted(path.stem for path in TEXTS.glob("*.md"))


@pytest.mark.parametrize("name", TASKS)
def test_a_page_of_a_task_says_it_in_short_in_steps_and_what_if_not(name: str) -> None:
    """One title, then "In short", numbered steps, and a heading for when it went wrong."""
    text = _source(name)
    assert re.match(r"# .+\n\n> \*\*In short:\*\* ", text), name
    assert len(re.findall(r"(?m)^# ", text)) == 1
    if name not in ("doors", "commands"):
        assert re.search(r"(?m)^2\. ", text), "no steps"
        assert re.search(r"(?m)^## (If|When|After|Not|Something|The server|What no) ?", text), (
            "nothing for when it went wrong"
        )


@pytest.mark.parametrize("name", HANDS_ON)
def test_where_work_can_hurt_someone_the_caution_stands(stage: Stage, name: str) -> None:
    """The words of the job's own page."""
    assert OPENING_CAUTION.partition(". ")[0] in unescape(_page(stage, name))


def test_it_opens_without_signing_in_and_without_a_database() -> None:
    """Who cannot sign in needs it, and who has a database in trouble."""
    from fastapi import FastAPI

    from api.pages.manual import route
    from api.server.app import api_routes

    app = FastAPI()
    app.state.routes = api_routes()
    app.include_router(route.router)
    client = TestClient(app)
    for name in ("", *(f"/{one}" for one in names()), "?find=gas"):
        assert client.get(f"{MANUAL}{name}").status_code == 200, name


@pytest.mark.long
def test_every_link_leads_somewhere(stage: Stage) -> None:
    """Pages, headings and files of the manual itself; doors outside it are open ones."""
    asked = cache(lambda path: stage.ask("GET", path, role=None))
    for name in ("", *names()):
        here = f"{MANUAL}/{name}" if name else MANUAL
        for href in re.findall(r'(?:href|src)="([^"]+)"', _page(stage, name)):
            path, _, anchor = href.partition("#")
            if path == "/":
                continue
            answer = asked(path if path.startswith("/") else f"{MANUAL}/{path}" if path else here)
            assert answer.status_code == 200, (name, href)
            assert not anchor or f'id="{anchor}"' in answer.text, (name, href)


def test_every_page_of_ours_has_its_page_of_the_manual() -> None:
    """The foot of each leads to what is said about it; the fleet's to the contents."""
    doors = [
        door
        for method, door in DOORS
        if method == "GET" and not door.startswith(("/api/", "/cal/", MANUAL, "/docs", "/problems/"))
    ]
    pages = [door for door in doors if door not in ("/", "/livez", "/readyz", "/openapi.json", "/metrics")]
    without = [door for door in pages if manual_href(WALKS["GET", door].path) == MANUAL]
    assert [door for door in without if not door.endswith((".csv", "/plan"))] == []
    assert {name for _, name in HELP} <= set(names())


@pytest.mark.parametrize("path", ["/plants/none", "/nothing-here"])
def test_an_error_leads_to_what_it_means(stage: Stage, path: str) -> None:
    """The page of an error has a way to the manual, to the very heading."""
    answer = stage.ask("GET", path, role=Role.CHIEF, headers=BROWSER)
    assert answer.status_code == 404
    assert f'href="{MANUAL}/refused#not-found"' in answer.text


def test_the_foot_of_a_page_leads_to_the_manual(stage: Stage) -> None:
    """To what is said of that page, and to the contents; signed in or not."""
    plant = stage.ask("GET", "/plants/plover-plant/plan", role=Role.CHIEF, headers=BROWSER).text
    outside = stage.ask("GET", "/sign-in", role=None, headers=BROWSER).text
    for page, name in ((plant, "plan"), (outside, "sign-in")):
        assert f'href="{MANUAL}/{name}"' in page
        assert f'href="{MANUAL}"' in page


def test_every_kind_of_error_is_told_to_people() -> None:
    """With its title as the heading."""
    headings = set(chapter("refused").headings)
    assert {anchor_of(title) for status, title in STATUS.values()} <= headings


def test_the_lists_are_those_of_the_code(stage: Stage) -> None:
    """Every state, verdict, role, setting, exit code, kind of error, door and command."""
    assert set(STATES) == set(JobState)
    assert set(VERDICTS) == set(Verdict)
    assert set(ROLES) == set(Role)
    words = unescape(_page(stage, "words"))
    assert all(one.value in words for one in (*JobState, *Verdict, *Role))
    settings = unescape(_page(stage, "settings"))
    assert all(f"<code>{one.name}</code>" in settings and one.metadata["says"] in settings for one in fields(Settings))
    commands = unescape(_page(stage, "commands"))
    assert all(f">{one.value}</th><td>{one.meaning}</td>" in commands for one in ExitCode)
    assert all(f"<code>{words}</code>" in commands for words in known_commands())
    assert all(f"/problems/{slug(kind)}" in _page(stage, "api") for kind in STATUS)
    doors = _page(stage, "doors")
    missing = [
        one for one in DOORS if one[0] not in ("HEAD", "OPTIONS") and f"<code>{one[0]} {one[1]}</code>" not in doors
    ]
    assert missing == []


def test_no_list_is_asked_for_in_vain(stage: Stage) -> None:
    """Each fenced word that stands for a list became one."""
    for name in names():
        assert f"<!-- {DRAWN}" not in _page(stage, name)


SECRET = re.compile(r"\bUTC\b|ll_|\b[a-z]+_[a-z]+\b|\b[a-z]+:[a-z]+-[a-z]+|/api/|`|leadline ")
"""A key, an instant in UTC, a code, an id, a door or a command."""


@pytest.mark.parametrize("name", [name for part in PARTS if not part.keys_shown for name in part.names])
def test_who_works_at_the_pump_reads_no_key_code_or_command(name: str) -> None:
    """Those stand in the integrator's, the office's and the runner's parts alone."""
    text = re.sub(r"```drawn.*?```|\]\([^)]+\)", "", _source(name), flags=re.S)
    assert SECRET.findall(text) == []


def _drawn_labels() -> str:
    """Everything that pages say, in small letters: states, templates with and without marks, the modules beside them."""
    folder = ROOT / "api" / "pages"
    found: list[str] = list(JobState)
    for path in sorted(folder.rglob("*.html")):
        found.append(path.read_text(encoding="utf-8"))
        text = re.sub(r"\{%.*?%\}", " ", found[-1], flags=re.S)
        found.append(re.sub(r"<[^>]+>", " ", re.sub(r"\{\{.*?\}\}", "VP1", text, flags=re.S)))
    found += [path.read_text(encoding="utf-8") for path in sorted(folder.rglob("*.py")) if path.parent.name != "manual"]
    return " ".join(" ".join(found).split()).lower()


LABELS = _drawn_labels()


@pytest.mark.parametrize("name", [name for part in PARTS[:5] for name in part.names])
def test_what_is_set_bold_stands_on_a_page(name: str) -> None:
    """A button, field or heading that the manual names is there under that name: a page that says it anew must be said anew here."""
    bold = [one.rstrip(".:,") for one in re.findall(r"\*\*([^*]+)\*\*", _source(name))]
    assert [one for one in bold if one != "In short" and one.lower() not in LABELS] == []


def _commands(command: Any = None, words: str = "leadline") -> Iterator[tuple[str, Any]]:
    command = command or get_command(command_line)
    inside = getattr(command, "commands", None)
    if inside is None:
        yield words, command
    for word, one in (inside or {}).items():
        yield from _commands(one, f"{words} {word}")


@cache
def known_commands() -> dict[str, Any]:
    """Each command by its words."""
    return dict(_commands())


def must_be_a_command(line: str) -> None:
    """Every word of the group and every option is there. Fails otherwise."""
    known = known_commands()
    group = {opt: one for one in get_command(command_line).params for opt in one.opts}
    given = shlex.split(line, comments=True)
    assert given.pop(0) == "leadline", line
    while given and given[0].startswith("-") and given[0] not in ("-h", "--version"):
        assert given[0] in group, line
        given = given[2:]
    if given[0] in ("-h", "--version") or given[-1] == "-h":
        return
    words = "leadline"
    while given and words not in known:
        words += f" {given.pop(0)}"
    assert words in known, line
    options = {opt for one in known[words].params for opt in (*one.opts, *one.secondary_opts)}
    for one in given:
        if one.startswith("-") and not re.fullmatch(r"-[0-9.]+", one):
            assert one in options, (line, one)


@pytest.mark.parametrize("name", names())
def test_every_command_named_is_one(name: str) -> None:
    """In blocks and in sentences, with the options it is named with."""
    text = re.sub(r"```drawn.*?```", "", _source(name), flags=re.S)
    lines = [one.strip() for block in re.findall(r"```\n(.*?)```", text, re.S) for one in block.split("\n")]
    lines += re.findall(r"`(leadline [^`]+)`", re.sub(r"```.*?```", "", text, flags=re.S))
    for line in lines:
        if line.startswith("leadline "):
            must_be_a_command(re.sub(r"\b(COMMAND)\b", "due", line))


def test_every_picture_is_there_is_used_and_is_small(stage: Stage) -> None:
    """All of them together stay a fraction of the package."""
    folder = STATIC / "manual"
    files = {path.name: path for path in folder.iterdir()}
    used = set(re.findall(r"\]\(([a-z-]+\.webp)\)", "".join(map(_source, names()))))
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert used | set(re.findall(r"static/manual/([a-z-]+\.webp)", readme)) == set(files)
    sizes = {name: path.stat().st_size for name, path in files.items()}
    assert max(sizes.values()) <= MOST_PICTURE_BYTES
    assert sum(sizes.values()) <= MOST_PICTURES_BYTES
    assert all(min(size_of(path)) > 100 for path in files.values())


def test_words_are_found_where_they_begin() -> None:
    """All of them on one page; those with one in their title first; nothing for nothing."""
    found = [one.name for one, _ in found_in_manual("lock tag")]
    assert found[0] == "isolation"
    assert "hours" not in [one.name for one, _ in found_in_manual("ock")]
    assert found_in_manual("  ") == ()
    assert found_in_manual("lock unicorn") == ()
    assert all(len(piece) < 260 for _, piece in found_in_manual("the"))


@pytest.mark.parametrize("asked", ["%00", "[", "(((", "x" * 5000, "<b>", "%F0%9F%9A%A2", "gas&find=cover"])
def test_no_search_makes_it_fail(stage: Stage, asked: str) -> None:
    """What is typed is text, shown as text."""
    answer = stage.ask("GET", f"{MANUAL}?find={asked}", role=None, headers=BROWSER)
    assert answer.status_code in (200, 422)
    assert (
        "<b>" not in answer.text.partition("<main")[2].replace("<b>It is no permit and no alarm.</b>", "")
        or asked != "<b>"
    )


def test_a_page_that_is_none_says_so(stage: Stage) -> None:
    """Not found, with the way to the contents."""
    answer = stage.ask("GET", f"{MANUAL}/none", role=None, headers=BROWSER)
    assert answer.status_code == 404
    assert MANUAL in answer.text
    with pytest.raises(KeyError):
        part_of("none")
