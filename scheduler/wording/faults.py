"""What is wrong with what was typed, sent or set: facts of fields, bodies and settings, said alike on page, API and command."""

from collections.abc import Mapping
from typing import Any

from scheduler.errors import SettingCode, SettingFault
from scheduler.language import gettext, marked
from scheduler.parsing import Expected, Unreadable

_EXPECTED: Mapping[Expected, str] = {
    Expected.FIGURE: marked("{given!r} is not one; a figure is expected, with a dot before tenths, such as 13905.2."),
    Expected.WHOLE: marked("a whole number is expected, such as 2"),
    Expected.DATE: marked("{given!r:.40}: a date as 2026-11-25 is expected."),
    Expected.TIME: marked("a time is expected, as 14:00"),
    Expected.UNTIL: marked("a time is expected, as 14:00, or a date and time."),
    Expected.SHIP_INSTANT: marked("a date and time are expected, as 2026-11-25 14:00."),
    Expected.WHEN: marked("a time is expected: now, 09:00, tomorrow 09:00, or 2026-12-01 09:00"),
    Expected.YEARS: marked("an instant from 1970 to 2199 is expected; check the year"),
    Expected.QUOTED_DATE: marked("a ship's date in quotes is expected, such as 2026-11-25"),
    Expected.NOBODY: marked(
        "nobody signs for another: that person does, in the own sign-in or with the own key; leave it out"
    ),
    Expected.NO_NUL: marked("{given}: text without a NUL character is expected; take it out"),
    Expected.WHOLE_CHARACTERS: marked("whole characters and finite figures are expected; correct it"),
    Expected.OFFSET: marked("instants of a step carry their offset, such as 2026-11-25T14:00:00Z"),
}
_SHAPES: Mapping[str, str] = {
    **dict.fromkeys(
        ("missing", "missing_argument", "missing_keyword_only_argument"), marked("this is missing; it is needed.")
    ),
    **dict.fromkeys(
        ("extra_forbidden", "unexpected_keyword_argument"),
        marked("this is not a known name here; check the spelling or leave it out."),
    ),
    "timezone_aware": marked("an instant with its offset is expected, such as 2026-11-25T07:00:00Z{shown}."),
    **dict.fromkeys(
        ("model_attributes_type", "model_type", "dict_type", "dataclass_type"),
        marked("a JSON object is expected here."),
    ),
}
"""By pydantic's word for what is wrong."""


def unreadable_words(error: Unreadable) -> str:
    """What is expected in place of what was typed."""
    return gettext(_EXPECTED[error.expected]).format(given=error.given)


def shape_words(found: Mapping[str, Any]) -> str:
    """What is wrong with a member of a body: one of the findings of a `ValidationError`."""
    given = found.get("input")
    shown = (
        gettext("; it is {given}").format(given=f"{given!r:.80}") if isinstance(given, str | int | float | bool) else ""
    )
    if found["type"] in _SHAPES:
        return gettext(_SHAPES[found["type"]]).format(shown=shown)
    if found["type"] == "value_error":
        error = found["ctx"]["error"]
        return f"{unreadable_words(error) if isinstance(error, Unreadable) else error}{shown}."
    return f"{found['msg'][:1].lower()}{found['msg'][1:]}{shown}."


_EXPECTED_OF_A_SETTING: Mapping[SettingCode, str] = {
    SettingCode.NOT_YES_OR_NO: "true or false.",
    SettingCode.NOT_WHOLE: "a whole number.",
    SettingCode.NO_TEXT: "a text in UTF-8.",
}
_SETTINGS: Mapping[SettingCode, str] = {
    SettingCode.NO_FILE: "{name} names {path}, which cannot be read: {why}.",
    SettingCode.LOG: 'Setting log is "{given}"; expected auto, text or json.',
    SettingCode.LOG_LEVEL: 'Setting log_level is "{given}"; expected debug, info, warning or error.',
    SettingCode.LEADS_NOWHERE: 'Setting base_url is "{given}"; expected the address people type, such as http://leadline.lan:8322.',
    SettingCode.BELOW_A_PATH: (
        'Setting base_url is "{given}"; a host name of its own is expected, with nothing behind it, such as '
        "https://leadline.ship.example: Leadline does not serve below a path of another site. In nginx, give it a server "
        "block with a server_name of its own; the manual, Settings, has one to copy."
    ),
    SettingCode.NO_NETWORK: (
        'Setting proxies names "{given}"; expected addresses or networks such as 127.0.0.1 or 10.0.0.0/24.'
    ),
}


def setting_words(fault: SettingFault) -> str:
    """What is wrong with a setting, and what is expected."""
    code, told = fault.code, fault.figures
    if code is SettingCode.UNKNOWN:
        known = ", ".join(told["known"])
        hint = f'Did you mean "{known}"?' if told["close"] else f"Known: {known}."
        return f'Unknown setting "{told["name"]}" from {told["source"]}. {hint}'
    if code in _SETTINGS:
        return _SETTINGS[code].format(**told)
    if code is SettingCode.OUT_OF_RANGE:
        expected = f"{told['least']} or more." if told["most"] is None else f"{told['least']} to {told['most']}."
    else:
        expected = _EXPECTED_OF_A_SETTING[code]
    return f'Setting {told["name"]} from {told["source"]} is "{told["given"]}"; expected {expected}'
