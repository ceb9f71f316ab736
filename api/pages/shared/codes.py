"""Codes of records and people as words on a page; what is none of them stays as it is."""

from scheduler.language import gettext as _
from scheduler.language import marked

WORDS = (
    marked("asked"), marked("granted"), marked("refused"), marked("open"), marked("answered"),
    marked("closed"), marked("early"), marked("in window"), marked("past due within limit"), marked("late"),
    marked("postponed"), marked("breakdown"), marked("not judged"), marked("passed"), marked("failed"), marked("none"),
    marked("running hours"), marked("calendar"), marked("engineer"), marked("chief"), marked("hotel"),
    marked("chief officer"), marked("master"), marked("office"), marked("admin"), marked("counter"), marked("ship"), marked("link"),
    marked("passphrase"), marked("PIN"), marked("key"), marked("past limit"), marked("closing the job"), marked("work on the pump"),
    marked("replacement"), marked("rescale"), marked("adjustment"), marked("adjustment asked"), marked("opening balance"),
    marked("step decision"), marked("bad reading"), marked("primary"), marked("nothing missing"), marked("undo"),
    marked("undo asked"),
)  # fmt: skip
"""States, verdicts, results, triggers, roles and proofs, as their enums have them, what non-conformities are about, and
kinds of counter events."""


def code_words(code: str) -> str:
    """The code in the language spoken now."""
    return _(code) if code in WORDS else code
