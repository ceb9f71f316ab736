"""Every message of the sources is said in every language, with the same places; and the files are as the tool writes them."""

import ast
import re
from collections.abc import Mapping

import pytest
from babel.messages.catalog import Catalog, Message

from scheduler.language import CATALOGUES, catalogue_of
from tests.language.catalogue import (
    FOLDERS,
    KEYWORDS,
    OTHERS,
    ROOT,
    extracted,
    po_path,
    stored,
    text_of,
    untranslated,
    updated,
)

PLACES = re.compile(r"\{[^{}]*\}|%\(\w+\)s|</?\w+|%%|\u00a0(?=\{)")
ALL = [(code, name) for code in OTHERS for name in CATALOGUES]


@pytest.fixture(scope="module")
def templates() -> Mapping[str, Catalog]:
    """The messages in the sources."""
    return extracted()


@pytest.mark.long
@pytest.mark.parametrize(("code", "name"), ALL)
def test_no_message_lacks_its_translation(templates: Mapping[str, Catalog], code: str, name: str) -> None:
    """Whoever adds a sentence adds it in each language: python -m tests.language lists what is missing."""
    assert [one.id for one in untranslated(updated(code, name, templates[name]))] == []


@pytest.mark.long
@pytest.mark.parametrize(("code", "name"), ALL)
def test_a_catalogue_has_the_messages_of_the_sources_alone(
    templates: Mapping[str, Catalog], code: str, name: str
) -> None:
    """The files are as python -m tests.language writes them."""
    before = po_path(code, name).read_bytes()
    assert text_of(updated(code, name, templates[name]), before) == before


@pytest.mark.parametrize(("code", "name"), ALL)
def test_a_translation_has_the_places_of_its_message(code: str, name: str) -> None:
    """Figures and names are filled in by name: none is lost and none is unknown; so is no tag."""
    wrong = [message.id for message in stored(code, name) if message.id and not _same_places(message)]
    assert wrong == []


def _same_places(message: Message) -> bool:
    ids = message.id if isinstance(message.id, tuple | list) else (message.id,)
    said = message.string if isinstance(message.string, tuple | list) else (message.string,)
    wanted = set(PLACES.findall(ids[-1]))
    return (
        all(set(PLACES.findall(one or "")) <= wanted for one in said) and set(PLACES.findall(said[-1] or "")) == wanted
    )


@pytest.mark.parametrize("code", OTHERS)
def test_every_message_of_a_language_is_read(code: str) -> None:
    """Both files of a language are one catalogue."""
    for name in CATALOGUES:
        for message in stored(code, name):
            if message.id and isinstance(message.id, str) and not message.context:
                assert catalogue_of(code).gettext(message.id) == message.string


@pytest.mark.long
def test_no_message_is_asked_for_inside_an_f_string() -> None:
    """Babel reads no call inside an f-string: such a message would be in no catalogue, and English in every language."""
    asked = {
        f"{path.relative_to(ROOT)}:{text.lineno}"
        for folder in FOLDERS.values()
        for path in sorted((ROOT / folder).rglob("*.py"))
        for text in ast.walk(ast.parse(path.read_text()))
        if isinstance(text, ast.JoinedStr)
        for call in ast.walk(text)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in KEYWORDS
        if call.args and isinstance(call.args[0], ast.Constant)
    }
    assert asked == set()
