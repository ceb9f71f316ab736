"""Words with one meaning, shared by page, feed, command line and export."""

from enum import StrEnum


class JobState(StrEnum):
    """What a person reads about a job; one enum everywhere."""

    AHEAD = "ahead"
    WINDOW_OPEN = "window open"
    PAST_DUE = "past due"
    PAST_LIMIT = "past limit"
    POSTPONED = "postponed"
    NOT_KNOWN = "last time not known"
    """Nobody said when it was last done: planned as due now, judged by nothing, until a first date is set."""
    DONE = "done"
    WITHDRAWN = "withdrawn"


PAST = (JobState.PAST_DUE, JobState.PAST_LIMIT)


class Subject(StrEnum):
    """What a job kind is counted on."""

    PART = "part"
    PUMP = "pump"
    POSITION = "position"
    PLANT = "plant"


class Trigger(StrEnum):
    """Which limit of an interval comes first."""

    RUNNING_HOURS = "running hours"
    CALENDAR = "calendar"


class Test(StrEnum):
    """What the test after a job showed. NONE: returned, not proved."""

    __test__ = False  # not a pytest class

    PASSED = "passed"
    FAILED = "failed"
    NONE = "none"


class Role(StrEnum):
    """Who may do what; COUNTER keys may only post readings, SHIP keys only bring what their ship wrote."""

    COUNTER = "counter"
    SHIP = "ship"
    ENGINEER = "engineer"
    CHIEF = "chief"
    HOTEL = "hotel"
    """Reads, and signs as what the name says; so do the next two."""
    CHIEF_OFFICER = "chief officer"
    MASTER = "master"
    OFFICE = "office"
    ADMIN = "admin"
