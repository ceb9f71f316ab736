"""Faults of what is typed, sent or set: each fact has a sentence, and page, API and command say it alike."""

import pytest

from api.commands.shared.options import parse_figure
from api.routes.shared.bodies import CloseBody
from api.routes.shared.fields import Fields
from api.server.errors import refused_from
from scheduler.errors import SettingCode, SettingFault
from scheduler.parsing import Expected, Unreadable
from scheduler.wording.faults import setting_words, unreadable_words

FIGURES = {
    "name": "port",
    "source": "the command line",
    "given": "x",
    "known": ["port"],
    "close": True,
    "path": "f",
    "why": "gone",
}


@pytest.mark.parametrize("expected", Expected)
def test_everything_expected_is_said(expected: Expected) -> None:
    """With what was given where the sentence names it, and never by its code alone."""
    says = unreadable_words(Unreadable(expected, "told"))
    assert says not in ("", expected.value)
    assert "{" not in says


@pytest.mark.parametrize("code", SettingCode)
@pytest.mark.parametrize("most", [None, 9])
def test_every_fault_of_a_setting_is_said(code: SettingCode, most: int | None) -> None:
    """With the name of the setting or of what it names."""
    says = setting_words(SettingFault(code, **FIGURES, least=1, most=most))
    assert says.endswith((".", "?"))
    assert "{" not in says


def test_a_figure_is_refused_in_the_same_words_on_page_and_command() -> None:
    """The field of a form and the option of a command."""
    fields = Fields({"hours": "12h"})
    fields.figure("hours")
    with pytest.raises(Exception, match="a figure is expected") as refused:
        parse_figure()("12h")
    assert fields.faults == [("/hours", refused.value.message)]  # type: ignore[attr-defined]


def test_an_instant_out_of_all_years_is_refused_by_its_fact() -> None:
    """A body's own check gives the fact; the sentence names what came."""
    with pytest.raises(ValueError) as found:
        CloseBody.model_validate({"done_at": "1900-01-01T00:00:00Z", "done_by": "A", "test": "none"})
    says = refused_from(found.value).faults  # type: ignore[arg-type]
    assert list(says) == [
        ("/done_at", f"{unreadable_words(Unreadable(Expected.YEARS))}; it is '1900-01-01T00:00:00Z'.")
    ]
