"""How every command goes: open the database, act, print lines or JSON. A command is its options, the action and its lines.

Data goes to stdout, talk to stderr. The exit codes are those of `exit_codes`.
"""

import inspect
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.commands.shared.groups import chosen
from scheduler.wording.invisible import visible_text

if TYPE_CHECKING:
    from datetime import datetime

    from scheduler.actions.base.actor import Actor
    from scheduler.actions.base.context import Context, Hand
    from scheduler.actions.vessel.fleet import Place
    from scheduler.settings import Loaded

AsJson = Annotated[bool, typer.Option("--json", help="JSON on stdout")]


@dataclass(frozen=True, slots=True)
class Output:
    """What a command prints: value with --json, else lines; then talk; and its exit code. value none: lines either way."""

    value: Mapping[str, Any] | None = None
    lines: Iterable[str] = ()
    talk: Iterable[str] = ()
    code: int = 0


def command(group: typer.Typer, word: str | None = None, *, new: bool = False) -> Callable[[Any], Callable[..., None]]:
    """Makes an action a command of the group, called as the function unless a word is given.

    Its options are the function's parameters, and --json unless it has `as_json` itself. A first parameter `context` is the
    context on the database chosen; without it none is opened. new: an SQLite file may be made.
    """

    def add(act: Callable[..., Output]) -> Callable[..., None]:
        given = inspect.signature(act).parameters
        options = [one for one in given.values() if one.name != "context"]
        if "as_json" not in given:
            options.append(
                inspect.Parameter("as_json", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=AsJson)
            )

        def run(*, as_json: bool, **values: Any) -> None:
            if "as_json" in given:
                values["as_json"] = as_json
            if "context" in given:
                with command_context(new=new) as context:
                    output = act(context, **values)
            else:
                output = act(**values)
            show(output, as_json)

        run.__name__, run.__doc__, run.__module__ = act.__name__, act.__doc__, act.__module__
        run.__signature__ = inspect.Signature(options)  # type: ignore[attr-defined]
        run.__annotations__ = {one.name: one.annotation for one in options}
        return group.command(word)(run)

    return add


class WrongSetting(Exception):
    """A setting that cannot be taken; the argument says which, and what was expected."""


def show(output: Output, as_json: bool) -> None:
    """Prints it. Raises Exit with its code where that is not 0."""
    if as_json and output.value is not None:
        print(json.dumps(dict(output.value), indent=2, default=str))
    else:
        for line in output.lines:
            print(visible_text(line))
    for line in output.talk:
        say(line)
    if output.code:
        raise typer.Exit(output.code)


def say(text: str) -> None:
    """Talk: a line on stderr."""
    print(visible_text(text), file=sys.stderr)


def chosen_settings(**flags: Any) -> "Loaded":
    """The settings, with what was chosen on the command line. Raises WrongSetting."""
    from scheduler.errors import Refused, SettingFault
    from scheduler.settings import load_settings
    from scheduler.storage.database import parse_url

    try:
        loaded = load_settings({"database": chosen.get("database"), **flags}, file=chosen.get("config"))
        parse_url(loaded.settings.database)
    except SettingFault as error:
        from scheduler.wording.faults import setting_words

        raise WrongSetting(setting_words(error)) from error
    except Refused as error:
        raise WrongSetting(error.says) from error
    return loaded


@contextmanager
def command_context(*, new: bool = False) -> "Iterator[Context]":
    """The context on the database chosen; the command line writes it directly. new: an SQLite file may be made."""
    from dataclasses import replace

    from scheduler.actions.base.context import Context
    from scheduler.actions.base.remembering import base_url
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database
    from scheduler.storage.migrate import create_or_check

    settings = chosen_settings().settings
    database = open_database(settings.database, create=new, check=False)
    try:
        create_or_check(database)
        if settings.workers:
            from scheduler.tasks import with_workers

            with_workers(database)
        if not settings.base_url:  # the address that the server of this database was reached by last
            settings = replace(settings, base_url=base_url(database))
        yield Context(database, system_clock, settings)
    finally:
        database.close()


def me() -> "Actor":
    """Whoever is at this terminal."""
    import getpass

    from scheduler.actions.base.actor import Actor
    from scheduler.domain.base.enums import Role

    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = "unknown"
    return Actor("command line", f"{user}, command line", Role.ADMIN)


def acting(context: "Context") -> "Actor":
    """Who acts: the person whose own key was given (--key-file), else whoever is at this terminal, who is no person known here.

    Raises:
        NotFound: the file cannot be read. NotSignedIn: the key is not known, or was revoked. NotAllowed: it is no person's.
    """
    from scheduler.actions.people import people
    from scheduler.errors import NotAllowed, NotFound

    file = chosen.get("key_file")
    if file is None:
        return me()
    try:
        key = (sys.stdin.read() if str(file) == "-" else file.read_text(encoding="utf-8")).strip()
    except (OSError, UnicodeDecodeError) as error:
        raise NotFound(f"The key file {file} cannot be read: {error}.") from error
    actor = people.who_holds(context, key)
    if actor.person_id is None:
        raise NotAllowed(f"The key in {file} belongs to no person. Give a key that is your own.")
    return actor


def hand(context: "Context", asked: Mapping[str, Any]) -> "Hand":
    """A hand action asked for here."""
    import secrets

    from scheduler.actions.base.context import Hand

    return Hand(acting(context), secrets.token_hex(16), asked)


def plant_place(context: "Context", plant: str) -> "Place":
    """Where the plant is. Raises NotFound."""
    return _place(context, plant, "plant")


def pump_place(context: "Context", pump: str) -> "Place":
    """Where the pump is. Raises NotFound."""
    return _place(context, pump, "pump")


def counter_place(context: "Context", counter: str) -> "Place":
    """Where the counter is. Raises NotFound."""
    return _place(context, counter, "counter")


def _place(context: "Context", asset: str, kind: str) -> "Place":
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    return fleet.locate(context, acting(context), asset, AssetKind(kind))


def plants(context: "Context", plant: str | None) -> list[tuple[str, str]]:
    """(vessel, plant) pairs: the one named, or all."""
    from scheduler.actions.vessel import fleet

    if plant is not None:
        place = plant_place(context, plant)
        return [(place.vessel_id, place.id)]
    return [(vessel.id, p.id) for vessel, _ in fleet.list_vessels(context, acting(context)) for p in vessel.plants]


def vessel_must_be(context: "Context", vessel: str) -> None:
    """Raises NotFound where no such vessel is."""
    from scheduler.actions.vessel import fleet

    fleet.get_vessel(context, acting(context), vessel)


def instant_or_none(context: "Context", vessel: str, given: "datetime | None") -> "datetime | None":
    """The instant given, in UTC: without an offset it is of the vessel's clock. Raises NotFound."""
    from datetime import UTC

    from scheduler.actions.vessel import fleet
    from scheduler.shiptime import instant_of

    if given is None or given.tzinfo is not None:
        return given and given.astimezone(UTC)
    vessel_must_be(context, vessel)
    return instant_of(given, fleet.offset_now(context, vessel))


def instant_or_now(context: "Context", vessel: str, given: "datetime | None") -> "datetime":
    """The instant given, or the present one where none was. Raises NotFound."""
    return instant_or_none(context, vessel, given) or context.now()


def ship_stamps(context: "Context", vessel: str) -> Callable[[str], str]:
    """What words a JSON instant in ship time with its offset, so that it can be typed again; its first ten letters are the day.

    The vessel is known to be there.
    """
    from datetime import datetime, timedelta, timezone

    from scheduler.actions.vessel import fleet
    from scheduler.shiptime import minutes_at

    clock = fleet.offset_now(context, vessel)

    def stamp(text: str) -> str:
        at = datetime.fromisoformat(text)
        return at.astimezone(timezone(timedelta(minutes=minutes_at(clock, at)))).isoformat(timespec="seconds")

    return stamp
