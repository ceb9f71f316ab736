"""What doctor and the pages say of what is wrong or odd: what, which, since when, and what to do."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from scheduler.domain.checks.crew import Block
from scheduler.domain.checks.diagnosis import About, Diagnosis
from scheduler.domain.record.walking import ChainFault
from scheduler.domain.shore.taking import AgainstTaking
from scheduler.domain.vessel.crew import CrewBlock, MinimumBlock, QuietHours
from scheduler.language import gettext as _
from scheduler.language import marked
from scheduler.shiptime import day_text
from scheduler.wording.figures import moment, ship_moment
from scheduler.wording.hours import flag_words
from scheduler.wording.shore import line_words
from scheduler.wording.shore_taking import not_taken_words, requests_waiting_words, ship_clock_words
from scheduler.wording.signs import sign_words

_SETTINGS: Mapping[str, tuple[str, str]] = {
    "base_url": (
        "{says}",
        marked("Calendar entries carry no links and no sign-in link can be made until it is set."),
    ),
    "insecure_cookie": (
        marked("insecure_cookie is off, but base_url is plain http: a browser will not send the sign-in cookie back."),
        marked("Serve it by https, or set insecure_cookie to true on the ship's own network."),
    ),
    "open network": (
        "{says}",
        marked("Put a server for https in front, such as nginx, and set base_url to its address."),
    ),
    "frozen_days": (
        marked("frozen_days ({frozen_days}) reaches horizon_days ({horizon_days}): no plan can change."),
        marked("Make it less than horizon_days."),
    ),
}


def diagnosis_words(one: Diagnosis) -> tuple[str, str]:
    """What is wrong, and what to do about it; in ship time, with the names people use."""
    says, do = _WORDS[one.about]
    return says(one), _(do) if isinstance(do, str) else do(one)


def ship_line_words(found: Sequence[Diagnosis]) -> list[str]:
    """What there is to look at on a ship's line, but for when she was last heard; empty: all is well."""
    return [diagnosis_words(one)[0] for one in found if one.about is not About.SHIP_SILENT]


_UNNAMED: Mapping[About, tuple[str, str]] = {
    About.CALENDAR_FAILED: (
        marked("One calendar could not be written; the last good one is served."),
        marked("{} calendars could not be written; the last good ones are served."),
    ),
    About.PLAN_FAILED: (
        marked("The plan of one plant could not be made; the one before it stays."),
        marked("The plans of {} plants could not be made; those before them stay."),
    ),
    About.TIMER: (
        marked("One timer of the server failed at its last turn."),
        marked("{} timers of the server failed at their last turn."),
    ),
    About.NO_TIMERS: (
        marked("The server's timers do not run: no reading is worked out, no plan and no calendar is made."),
        marked("The server's timers do not run: no reading is worked out, no plan and no calendar is made."),
    ),
    About.PENDING: (
        marked("One kind of task was asked for more than 15 minutes ago and is not done."),
        marked("{} kinds of tasks were asked for more than 15 minutes ago and are not done."),
    ),
    About.NO_WORKER: (
        marked("No worker runs: no plan and no calendar is made."),
        marked("No worker runs: no plan and no calendar is made."),
    ),
    About.SHIP_NOT_TAKEN: (
        marked("Of one ship that writes aboard nothing is taken."),
        marked("Of {} ships that write aboard nothing is taken."),
    ),
    About.QUEUE: (
        marked("Workers leave one queue alone, in which tasks wait for more than 15 minutes."),
        marked("Workers leave {} queues alone, in which tasks wait for more than 15 minutes."),
    ),
}
DATABASE_AWAY = marked("The database does not answer, or has no room left.")


def failed_words(failed: Sequence[Diagnosis]) -> list[str]:
    """What failed, for everybody: how many of each, and no ship's name."""
    counts = Counter(one.about for one in failed)
    return [
        _(one) if counts[about] == 1 else _(many).format(counts[about])
        for about, (one, many) in _UNNAMED.items()
        if counts[about]
    ]


def _flag(one: Diagnosis) -> str:
    return flag_words(one.facts["flag"], one.name, one.offset_minutes or 0)


def _unstored(what: str) -> Callable[[Diagnosis], str]:
    def says(one: Diagnosis) -> str:
        newest = ship_moment(one.facts["newest_at"], one.offset_minutes or 0)
        return _(
            "{count} in {days} days, the newest {newest}: a reading {what}.",
            count=one.facts["count"],
            days=one.facts["days"],
            newest=newest,
            what=_(what),
        )

    return says


def _blocks(one: Diagnosis) -> str:
    block, over = one.facts["block"], one.facts["over"]
    what = {MinimumBlock: _("minimum"), CrewBlock: _("crew block"), QuietHours: _("entry of quiet hours")}[type(block)]
    return _(
        "The {what} {block} never counts: the later {over} covers its hours and dates, and of "
        "entries that match the last one counts.",
        what=what,
        block=_block(block),
        over=_block(over),
    )


def _block(block: Block) -> str:
    figure = (
        f"{block.minimum_swept_m3_per_h:g} m3/h"
        if isinstance(block, MinimumBlock)
        else _("{hands} hands", hands=block.hands)
        if isinstance(block, CrewBlock)
        else f"{block.most_stop_minutes} min"
    )
    name = f' "{block.label}"' if not isinstance(block, QuietHours) else ""
    dates = ["..." if on is None else day_text(on) for on in (block.from_on, block.to_on)]
    between = (
        "" if block.from_on is None and block.to_on is None else _(", {first} to {last}", first=dates[0], last=dates[1])
    )
    return _(
        "of {figure}{name} ({from_hour} to {to_hour} o'clock{between})",
        figure=figure,
        name=name,
        from_hour=block.from_hour,
        to_hour=block.to_hour,
        between=between,
    )


def _setting(part: int) -> Callable[[Diagnosis], str]:
    return lambda one: _(_SETTINGS[one.which][part]).format(**one.facts)


def _held(one: Diagnosis) -> str:
    if one.facts["earlier"]:
        return _("Answer it on the counters page: all fit if the reading before it was misread.")
    return _("Answer it on the counters page: replaced, misread, or preset.")


def _fact(name: str) -> Callable[[Diagnosis], Any]:
    return lambda one: one.facts[name]


def _planned(here: str) -> Callable[[Diagnosis], str]:
    """What to do about a plan: here, or aboard where the ship is planned there."""
    return lambda one: (
        _("{ship} plans aboard; what is shown here is as she last sent it.", ship=one.facts["aboard"])
        if "aboard" in one.facts
        else _(here)
    )


_RECORD: Mapping[ChainFault, str] = {
    ChainFault.CHANGED: marked("Record {number} was changed: its text does not give its stamp."),
    ChainFault.EXCHANGED: marked("Record {number} does not follow the record before it: one of the two was exchanged."),
    ChainFault.MISSING: marked("Records are missing, the first of them record {number}."),
    ChainFault.COLUMNS: marked("Record {number} is filed under another number, kind or time than its text says."),
    ChainFault.HEAD: marked(
        "The newest record is not the one that the database names as such: it names record {number}."
    ),
    ChainFault.REWRITTEN: marked("Record {number} was good when it was last looked at, and has another stamp now."),
    ChainFault.UNGUARDED: marked("The database no longer refuses changes of records."),
}
_WORDS: Mapping[About, tuple[Callable[[Diagnosis], str], str | Callable[[Diagnosis], str]]] = {
    About.SILENT: (_flag, marked("Check the gateway and its network, or enter the counter by hand.")),
    About.STANDING: (_flag, marked("See whether the pump runs in automatic; if it does, the counter needs attention.")),
    About.SOURCES: (_flag, marked("Read both counters; if the one that counts is wrong, make the other one count.")),
    About.CLOCK: (_flag, marked("Set the clock of the gateway by a time server.")),
    About.FUTURE: (_flag, marked("Set the clock of the sender by a time server.")),
    About.HELD: (_flag, _held),
    About.SIGN: (
        lambda one: sign_words(one.facts["sign"], one.facts["names"], pumps_speak=one.facts["pumps_speak"]),
        marked("Answer it on the page of what the hours say, linked on the plant page."),
    ),
    About.MISSING: (_flag, marked("Answer it on the counters page.")),
    About.OFFICE: (lambda one: line_words(one.facts)[0], lambda one: line_words(one.facts)[1]),
    About.SHIP_NOT_TAKEN: (
        lambda one: not_taken_words(one.facts["why"], one.facts["figures"], one.name, one.facts["ships"]),
        lambda one: (
            _("Say on the page Ships which one goes on.")
            if one.facts["why"] is AgainstTaking.PARTED
            else _("Her server tries again by itself, and keeps all of it until then.")
        ),
    ),
    About.SHIP_CLOCK: (
        lambda one: ship_clock_words(one.facts["skew_s"]),
        marked("Have the clock of her server set by a time server; what she sends keeps its order by number."),
    ),
    About.SHIP_SILENT: (
        lambda one: _(
            "{ship} was not heard from since {at}.",
            ship=one.name,
            at=moment(one.facts["heard_at"], one.offset_minutes or 0),
        ),
        marked("What is shown of her is as of then. Her server sends by itself once the link is there."),
    ),
    About.SHIP_REQUESTS: (
        lambda one: requests_waiting_words(one.facts["count"]),
        marked("Her server fetches them when it next sends; one that nobody fetched can be taken back."),
    ),
    About.UNREAD: (
        lambda one: _(
            "The counter of {name} has never been read: the hours of its position are not known.", name=one.name
        ),
        marked("Check that the gateway sends it under its id, or enter it by hand."),
    ),
    About.NOT_KNOWN: (
        lambda one: _("Nobody has said when {name} was last done. It is planned as due now.", name=one.name),
        marked(
            "Give the date from its papers in the vessel's document, or let the chief engineer set a "
            "first date on its page."
        ),
    ),
    About.BEHIND: (
        lambda one: _("The ledger of {name} does not yet take in what was stored.", name=one.name),
        marked("It follows within seconds while a server runs: see that one runs, and look at its log."),
    ),
    About.CONFLICTS: (
        _unstored(marked("came with another value than the one stored for its instant")),
        marked("The intake log shows each as it came and why. See whether two senders post it."),
    ),
    About.REFUSALS: (
        _unstored(marked("was refused")),
        marked("The intake log shows each as it came and why. Put the sender right."),
    ),
    About.NO_PLAN: (
        lambda one: _("{name} has no plan.", name=one.name),
        _planned(
            marked(
                "The plan command makes one at once; a server plans each night: see that one runs, and look at its log."
            )
        ),
    ),
    About.OLD_PLAN: (
        lambda one: _("No plan of {name} was made for more than a night.", name=one.name),
        _planned(marked("A server plans each night: see that one runs, and look at its log.")),
    ),
    About.PLAN_FAILED: (
        lambda one: _("The plan of {name} could not be made; the one before it stays.", name=one.name),
        marked("It is tried again each night and after each change; the server's log says what went wrong."),
    ),
    About.NOT_TAKEN: (
        lambda one: _(
            "A plan of {name} is proposed and none was ever taken: the calendar shows no slots.", name=one.name
        ),
        _planned(marked("Look at it on the plant page and take it.")),
    ),
    About.BLOCK: (_blocks, marked("Take one of the two out of the document, or put the one that shall count last.")),
    About.OLD_CALENDAR: (
        lambda one: _("The calendar of {name} was last written more than seven hours ago.", name=one.name),
        marked(
            "A server writes it when something changes, and every six hours: see that one runs, and look at its log."
        ),
    ),
    About.CALENDAR_FAILED: (
        lambda one: _("The calendar of {name} could not be written; the last good one is served.", name=one.name),
        marked("It is tried again every few seconds; the server's log says what went wrong."),
    ),
    About.SPACE: (
        lambda one: _(
            "{free_bytes} MiB are free; below {floor_bytes} MiB nothing is stored any more.",
            free_bytes=one.facts["free_bytes"] // 2**20,
            floor_bytes=one.facts["floor_bytes"] // 2**20,
        ),
        marked("Make room on that disk, or move the database."),
    ),
    About.JOURNAL: (
        lambda one: _(
            "SQLite's log is {mode}, synchronous {synchronous}; expected wal and 2: a power cut can lose "
            "what was stored.",
            mode=one.facts["mode"],
            synchronous=one.facts["synchronous"],
        ),
        marked("Keep the file on a local disk, not on a network share."),
    ),
    About.SQLITE: (
        lambda one: _(
            "{version}: versions up to 3.51.2 are reported to have a rare fault when the log starts again.",
            version=one.facts["version"],
        ),
        marked("Where you can, install a newer one beside it: pip install pysqlite3"),
    ),
    About.SETTING: (_setting(0), _setting(1)),
    About.DATABASE: (_fact("error"), marked("Nothing works until it answers.")),
    About.TABLES: (
        lambda one: _(
            "The tables are at step {step}, this program needs {expected}.",
            step=one.facts["step"] or _("none"),
            expected=one.facts["expected"],
        ),
        marked("Stop the server and run `leadline upgrade`; it makes a copy first."),
    ),
    About.BACKUP: (
        lambda one: (
            _("The newest backup is older than three days.")
            if one.facts["ever"]
            else _("No backup of the database was made.")
            if one.facts["set"]
            else _("No folder for backups is set, so none is made at night.")
        ),
        lambda one: (
            _("A server makes one each night, the backup command at once.")
            if one.facts["set"]
            else _("Set backup_folder, best to another disk; the backup command makes one at once.")
        ),
    ),
    About.BACKUP_DISK: (
        lambda _f: _("The backups lie on the same disk as the database: what takes the one takes the other."),
        marked("Set backup_folder to another disk, or carry a backup off the ship now and then."),
    ),
    About.RECORD: (
        lambda one: _(_RECORD[one.facts["fault"]]).format(number=one.facts["number"]),
        marked(
            "Somebody or something changed the database past Leadline. Keep it as it is, compare with a "
            "backup and with stamps on paper, and tell the office."
        ),
    ),
    About.TIMER: (
        lambda one: _("The timer “{name}” failed at its last turn.", name=one.name),
        marked("It is tried again; if it stays, the server's log says more."),
    ),
    About.NO_TIMERS: (
        lambda _f: _(
            "The server's timers do not run: no reading is worked out, no plan and no calendar is made. What is posted is stored."
        ),
        marked("They are begun anew by themselves; if this stays, the server's log says why."),
    ),
    About.PENDING: (
        lambda one: _(
            "The task “{name}” was asked for more than 15 minutes ago and is not done: {count} in all.",
            name=one.name,
            count=one.facts["count"],
        ),
        marked("See that a server runs, or the workers where they do the tasks, and look at its log."),
    ),
    About.NO_WORKER: (
        lambda _f: _("No worker runs: no plan and no calendar is made. What is asked for stays asked for."),
        marked("Start `leadline worker`, or take workers out of the settings and start the server anew."),
    ),
    About.QUEUE: (
        lambda one: _(
            "In the queue “{name}” {count} tasks wait for more than 15 minutes.",
            name=one.name,
            count=one.facts["count"],
        ),
        marked("Start more workers, or one that takes this queue too (--queues), and look at their log."),
    ),
}
