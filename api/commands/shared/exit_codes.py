"""What a command ends with, so that a script knows what to do."""

from enum import IntEnum


class ExitCode(IntEnum):
    """The exit codes of `leadline`, each with what it means."""

    GOOD = 0, "good"
    COULD_NOT = 1, "it could not; the words on stderr say what, which one, and what to do now"
    WRONG_USE = 2, "wrong use: an unknown option, a missing argument, a value that cannot be read"
    PAST_DUE = 3, "a job is past due (leadline due --check)"
    PAST_LIMIT = 4, "a job is past its limit (leadline due --check)"
    SHORT = (
        5,
        "a plan goes below the minimum, has no place for a job or is past a limit (leadline plan --check, --fleet)",
    )
    CHANGED = 6, "changed meanwhile: look again, then ask again"
    NOT_VERIFIED = (
        7,
        "not proved: a record (leadline verify), a backup (restore --check) or a counter (gateway --check)",
    )
    TRY_LATER = 75, "try later: the server or the database is busy"
    INTERRUPTED = 130, "interrupted"

    meaning: str

    def __new__(cls, number: int, meaning: str) -> "ExitCode":
        made = int.__new__(cls, number)
        made._value_ = number
        made.meaning = meaning
        return made
