"""What every command works with: the applications, settings, the context, and how things are said.

Data goes to stdout, talk to stderr. Exit codes: 0 good, 1 could not, 2 wrong use, 3 something past due, 4 past limit,
5 a plan leaves something short, 6 changed meanwhile, 7 verification failed, 75 try later, 130 interrupted.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from scheduler.actions.base.actor import Actor
    from scheduler.actions.base.context import Context, Hand
    from scheduler.settings import Loaded, Settings
    from scheduler.storage.database import Database

HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 110}
_ONE = "Planned maintenance by running hours for a ship's vacuum plant."

app = typer.Typer(
    help=f"{_ONE}\n\nExample: leadline demo",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
job_app = typer.Typer(
    help="Jobs.\n\nExample: leadline job done KEY --by NAME --test passed",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
key_app = typer.Typer(
    help="People, keys and sign-in links.\n\nExample: leadline key link chief",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
config_app = typer.Typer(
    help="Settings.\n\nExample: leadline config show",
    context_settings=HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(job_app, name="job")
app.add_typer(key_app, name="key")
app.add_typer(config_app, name="config")

_chosen: dict[str, Any] = {}


def _version(asked: bool) -> None:
    if asked:
        from scheduler.version import VERSION

        print(f"leadline {VERSION}")
        raise typer.Exit


AsJson = Annotated[bool, typer.Option("--json", help="JSON on stdout")]
Reason = Annotated[str, typer.Option(help="why an interval, window, tolerance or the minimum changes")]
ApprovedBy = Annotated[
    str, typer.Option(help="who ashore approved a change of an interval, window, tolerance or the minimum")
]
ClassAgreed = Annotated[
    str, typer.Option(help="the class's agreement, where a class item changes: who, when, reference")
]
AskVersion = Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="say it, and end")]


@app.callback()
def common(
    database: Annotated[str | None, typer.Option(help="SQLite file or postgresql://... address")] = None,
    config: Annotated[Path | None, typer.Option(help="settings file (TOML)")] = None,
    version: AskVersion = False,  # noqa: ARG001
) -> None:
    """Planned maintenance by running hours for a ship's vacuum plant.

    Example: leadline demo
    """
    _chosen.update(database=database, config=config)


def chosen_settings(**flags: Any) -> "Loaded":
    from scheduler.settings import load_settings

    return load_settings({"database": _chosen.get("database"), **flags}, file=_chosen.get("config"))


@contextmanager
def command_context(*, new: bool = False) -> "Iterator[Context]":
    """The context on the database chosen; the command line writes it directly. new: an SQLite file may be made."""
    from scheduler.actions.base.context import Context
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database
    from scheduler.storage.migrate import create_or_check

    settings = chosen_settings().settings
    database = open_database(settings.database, create=new, check=False)
    try:
        create_or_check(database)
        yield Context(database, system_clock, _reached_by(database, settings))
    finally:
        database.close()


def _reached_by(database: "Database", settings: "Settings") -> "Settings":
    """The settings with the address that the server of this database was reached by last, where none is chosen here."""
    from dataclasses import replace

    from scheduler.actions.base.remembering import base_url

    return settings if settings.base_url else replace(settings, base_url=base_url(database))


def me() -> "Actor":
    import getpass

    from scheduler.actions.base.actor import Actor
    from scheduler.domain.base.enums import Role

    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = "unknown"
    return Actor("command line", f"{user}, command line", Role.ADMIN)


def hand(asked: dict[str, Any]) -> "Hand":
    import secrets

    from scheduler.actions.base.context import Hand

    return Hand(me(), secrets.token_hex(16), asked)


def say(text: str) -> None:
    print(text, file=sys.stderr)


def out(value: Any, as_json: bool, plain: Callable[[], Iterator[str]]) -> None:
    if as_json:
        print(json.dumps(value, indent=2, default=str))
    else:
        for line in plain():
            print(line)


def instant_given(text: str | None) -> Any:
    from datetime import UTC, datetime

    if text is None:
        return datetime.now(UTC)
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise typer.BadParameter(f"{text!r}: an instant with its offset is expected, such as 2026-11-25T14:00:00Z")
    return at.astimezone(UTC)


def maybe_instant(text: str | None) -> Any:
    """The instant, or none."""
    return None if text is None else instant_given(text)


def plants(context: "Context", plant: str | None) -> list[tuple[str, str]]:
    """(vessel, plant) pairs: the one named, or all."""
    from scheduler.actions.vessel import fleet
    from scheduler.storage.vessel import AssetKind

    if plant is not None:
        place = fleet.locate(context, me(), plant, AssetKind.PLANT)
        return [(place.vessel_id, place.id)]
    return [(vessel.id, p.id) for vessel, _ in fleet.list_vessels(context, me()) for p in vessel.plants]
