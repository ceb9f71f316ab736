"""English is what stands in the code; another language is spoken where a page is answered in it, and nowhere else."""

from threading import Thread

import pytest

from scheduler.language import gettext, in_language, language, language_asked, ngettext, npgettext, pgettext, speak


def test_without_a_page_everything_is_english() -> None:
    """Timers, commands and the API set no language, and cannot."""
    speak("de")
    assert language() == "en"
    assert gettext("a sentence") == "a sentence"
    assert [ngettext("one", "many", count) for count in (0, 1, 2)] == ["many", "one", "many"]
    assert [npgettext("where", "one", "many", count) for count in (0, 1, 2)] == ["many", "one", "many"]
    assert pgettext("where", "a word") == "a word"


def test_a_language_ends_where_it_began() -> None:
    """Also one spoken inside another."""
    with in_language("en"):
        speak("de")
        assert language() == "de"
        with in_language("en"):
            assert language() == "en"
        assert language() == "de"
    assert language() == "en"


def test_what_is_not_in_a_catalogue_is_said_in_english() -> None:
    """A name that somebody gave goes through as it is."""
    with in_language("de"):
        assert gettext("no sentence of ours") == "no sentence of ours"
        assert ngettext("no one", "no many", 2) == "no many"
        assert pgettext("nowhere", "no word") == "no word"
        assert npgettext("nowhere", "no one", "no many", 1) == "no one"


def test_one_of_what_is_counted_is_a_word_too() -> None:
    """A catalogue holds "step" and "steps" once, and says either."""
    with in_language("de"):
        assert gettext("step") == ngettext("step", "steps", 1) != ngettext("step", "steps", 2)


def test_nothing_is_said_of_nothing() -> None:
    """A catalogue has its own head under the empty message."""
    with in_language("de"):
        assert gettext("") == ""


def test_a_language_not_known_is_english() -> None:
    """Whatever a database says of a person."""
    with in_language("de"):
        speak("xx")
        assert language() == "en"


def test_another_thread_speaks_english() -> None:
    """A thread of its own knows nothing of the page."""
    heard = []
    with in_language("de"):
        thread = Thread(target=lambda: heard.append(language()))
        thread.start()
        thread.join()
    assert heard == ["en"]


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("", "en"),
        ("de", "de"),
        ("de-CH", "de"),
        ("en;q=0.5,de;q=0.6", "de"),
        ("de;q=0", "en"),
        ("de,en", "de"),
        ("en,de", "en"),
        ("de;q=x", "en"),
        ("de;q=1e308,en", "en"),
        ("x" * 2000 + ",de", "en"),
        ("de;q=²", "en"),
        ("de;q=.", "en"),
    ],
)
def test_a_browser_asks_for_its_language(asked: str, code: str) -> None:
    """The one it weighs most, of those there are; the first of equals; nonsense is not heard."""
    assert language_asked(asked) == code
