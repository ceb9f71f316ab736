"""The manual in another language: each page has its twin, which says the same with the same marks, and is served to who reads it."""

import re
from collections import Counter
from html import unescape

import pytest
from babel.messages.catalog import Message
from sqlalchemy import text

from api.pages.manual.chapters import PARTS, TEXTS, chapter, digest_of, found_in_manual, names, part_of, source_of
from api.pages.shared.help import MANUAL
from api.server.deps import COOKIE
from scheduler.actions.people import sessions
from scheduler.domain.base.enums import JobState, Role
from scheduler.domain.record.closed_job import Verdict
from scheduler.domain.vessel.job_kinds import OPENING_CAUTION
from scheduler.errors import Busy
from scheduler.language import CATALOGUES, ENGLISH, catalogue_of, in_language
from tests.api.stage import Stage
from tests.api.test_manual import BROWSER, HANDS_ON, SECRET
from tests.language import twins
from tests.language.catalogue import OTHERS, stored
from tests.language.twins import lagging

LAGGING = set(lagging())
TWINS = [(code, name) for code in OTHERS for name in names() if (code, name) not in LAGGING]
GERMAN = {"Accept": "text/html", "Accept-Language": "de"}
SHORT = {"de": "Kurz"}


def _marks(page: str) -> dict[str, Counter[str] | list[str]]:
    """What a translation must have as the English page has it: marks in their order, what stands in a sentence in any."""
    blocks = re.findall(r"(?ms)^ *```.*?^ *```", page)
    plain = re.sub(r"(?ms)^ *```.*?^ *```", "", page)
    said = re.sub(r"\]\([^)]+\)|`[^`]+`", "", plain)
    return {
        "headings": [one.partition(" ")[0] for one in re.findall(r"(?m)^#+ ", plain)],
        "lines": re.findall(r"(?m)^ *(?:\d+\.|-|>|!|\S)", plain),
        "blocks": blocks,
        "pictures": re.findall(r"!\[[^]]+\]\(([^)]+)\)", plain),
        "links": Counter(re.findall(r"(?<!!)\[[^]]+\]\(([^)]+)\)", re.sub(r"!\[[^]]+\]\([^)]+\)", "", plain))),
        "code": Counter(re.findall(r"`[^`\n]+`", plain)),
        "figures": Counter(re.findall(r"\d+", said)),
        "bold": [str(plain.count("**"))],
    }


def _marked_alike(page: str) -> dict[str, Counter[str] | list[str]]:
    """Lines begin as they do, but for the first letter of a sentence."""
    marks = _marks(page)
    marks["lines"] = [line if re.search(r"\d+\.|[->!#|]", line) else "a" for line in marks["lines"]]
    return marks


def test_the_twins_say_what_the_english_pages_say_now() -> None:
    """Whoever changes a page looks at its twins, then says so: python -m tests.language.twins PAGE."""
    assert list(lagging()) == []


@pytest.mark.parametrize("code", OTHERS)
def test_no_twin_is_alone(code: str) -> None:
    """Each stands beside a page of that name."""
    assert {path.stem for path in (TEXTS / code).glob("*.md")} <= set(names())


@pytest.mark.parametrize(("code", "name"), TWINS)
def test_a_twin_has_the_marks_of_its_page(code: str, name: str) -> None:
    """The same headings, lists, pictures, links, blocks, code and figures: no step and no caution is lost in translation."""
    assert _marked_alike(source_of(name, code)) == _marked_alike(source_of(name, ENGLISH))


@pytest.mark.parametrize(("code", "name"), TWINS)
def test_one_anchor_leads_to_the_same_heading(code: str, name: str) -> None:
    """Links of pages and errors hold whatever the reader's language."""
    with in_language(code):
        twin = chapter(name)
    assert twin.headings == chapter(name).headings
    assert twin.title != chapter(name).title


def _texts(message: Message) -> tuple[tuple[str, ...], tuple[str, ...]]:
    ids = message.id if isinstance(message.id, tuple | list) else (message.id,)
    said = message.string if isinstance(message.string, tuple | list) else (message.string,)
    return tuple(ids), tuple(one or "" for one in said)


def _label(said: str) -> str:
    """A message as a page draws it, in small letters: without tags and what hides in them, places as the manual fills them in."""
    said = re.sub(r'<span class="vh">.*?</span>|<small>.*|<span class="small">.*', "", said)
    said = re.sub(r"<[^>]+>", "", said)
    return " ".join(re.sub(r"%\(\w+\)s|\{\w+\}", "VP1", said).split()).rstrip(".:,").casefold()


def _labels(code: str) -> dict[str, set[str]]:
    """What a language says for each English label."""
    found: dict[str, set[str]] = {}
    for name in CATALOGUES:
        for message in stored(code, name):
            for english, other in zip(*_texts(message), strict=False):
                found.setdefault(_label(english), set()).add(_label(other))
    return found


LABELS = {code: _labels(code) for code in OTHERS}
WHOLE = {code: " ".join(" ".join(one) for one in LABELS[code].values()) for code in OTHERS}


@pytest.mark.parametrize(("code", "name"), [(code, name) for code, name in TWINS if part_of(name) in PARTS[:5]])
def test_what_is_set_bold_is_the_label_of_the_translated_page(code: str, name: str) -> None:
    """Where the English page names a label, its twin names what stands there in its language; every other is found on a page too."""

    def bold(page: str) -> list[str]:
        return [_label(one) for one in re.findall(r"\*\*([^*]+)\*\*", page)]

    english, twin = bold(source_of(name, ENGLISH)), bold(source_of(name, code))
    missing = [one for one in english if one in LABELS[code] and not LABELS[code][one] & set(twin)]
    assert missing == []
    assert [one for one in twin if one != SHORT[code].casefold() and one not in WHOLE[code]] == []


@pytest.mark.parametrize("name", [name for part in PARTS if not part.keys_shown for name in part.names])
def test_who_works_at_the_pump_reads_no_key_code_or_command_in_a_twin_either(name: str) -> None:
    """As in the English page."""
    for code in (code for code, twin in TWINS if twin == name):
        assert SECRET.findall(re.sub(r"```drawn.*?```|\]\([^)]+\)", "", source_of(name, code), flags=re.S)) == []


def test_a_twin_that_lags_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """One changed letter of the English page is seen."""
    assert ("de", "plan") not in set(lagging()) - LAGGING
    monkeypatch.setattr(twins, "digest_of", lambda name: "changed" if name == "plan" else digest_of(name))
    assert ("de", "plan") in set(lagging())


def _twin(stage: Stage, name: str) -> str:
    answer = stage.ask("GET", f"{MANUAL}/{name}" if name else MANUAL, role=None, headers=GERMAN)
    assert answer.status_code == 200, name
    assert answer.headers["Content-Language"] == "de"
    return unescape(str(answer.text))


@pytest.mark.parametrize("name", HANDS_ON)
def test_where_work_can_hurt_someone_the_caution_stands_in_german(stage: Stage, name: str) -> None:
    """The words of the job's own page, translated."""
    said = catalogue_of("de").gettext(OPENING_CAUTION)
    assert said != OPENING_CAUTION
    assert said.partition(". ")[0] in _twin(stage, name)


def test_the_lists_are_said_in_german(stage: Stage) -> None:
    """States, verdicts, roles, settings, doors and commands: nothing that is drawn is left in English."""
    page, say = _twin(stage, "words"), catalogue_of("de").gettext
    for one in (*JobState, *Verdict, *Role):
        assert f">{say(one.value)}<" in page, one
    for name in ("settings", "commands", "doors", "api", "isolation", "reckoning", "days"):
        assert not re.search(r"\b(the|and|of|what|is)\b", _drawn(_twin(stage, name))), name


def _drawn(page: str) -> str:
    """What the lists of a page say, without code."""
    tables = " ".join(re.findall(r'(?s)<table class="drawn.*?</table>|<ol>.*?</ol>', page.partition("<nav")[0]))
    return re.sub(r"<[^>]+>", " ", re.sub(r"<code>.*?</code>|`[^`]*`|“[^”]*”|„[^“]*“", "", tables))


def test_a_reader_gets_the_own_language(stage: Stage) -> None:
    """The person's choice where somebody is signed in, else what the browser asks for; the answer says which, and what it hangs on."""
    english = stage.ask("GET", f"{MANUAL}/plan", role=None, headers=BROWSER)
    assert english.headers["Content-Language"] == "en"
    assert {"Accept-Language", "Cookie"} <= {one.strip() for one in english.headers["Vary"].split(",")}
    assert '<h1 id="read-the-plan-and-take-it">Den Plan' in _twin(stage, "plan")
    browser = stage.enter("chief-plover")
    asked = {"Accept": "text/html", "Accept-Language": "de"}
    assert browser.get(f"{MANUAL}/plan", headers=asked).headers["Content-Language"] == "en"
    with stage.context.db.write("") as session:
        session.connection().execute(text("UPDATE person SET language = 'de'"))
    asked = {"Accept": "text/html", "Accept-Language": "en"}
    assert browser.get(f"{MANUAL}/plan", headers=asked).headers["Content-Language"] == "de"
    assert browser.get(MANUAL, headers=asked).headers["Content-Language"] == "de"


def test_a_database_in_trouble_leaves_the_manual_open(stage: Stage, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is then in the language that the browser asks for."""

    def away(*_: object) -> None:
        raise Busy("The database is away.")

    monkeypatch.setattr(sessions, "at_browser", away)
    stage.client.cookies.set(COOKIE, "anything")
    try:
        assert "Den Plan lesen" in _twin(stage, "plan")
    finally:
        stage.client.cookies.delete(COOKIE)


def test_words_are_found_in_the_readers_language(stage: Stage) -> None:
    """Who reads German finds German words, and no English ones."""
    with in_language("de"):
        assert "isolation" in [one.name for one, _ in found_in_manual("sperre anhänger")]
        assert found_in_manual("shortfall") == ()
