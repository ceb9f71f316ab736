"""The command line: thin. Heavy imports stay inside the commands, so that help answers at once.

Data goes to stdout, talk to stderr. Exit codes: 0 good, 1 could not, 2 wrong use, 3 something past due, 4 past limit,
6 changed meanwhile, 7 verification failed, 75 try later, 130 interrupted.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from scheduler.actions.actor import Actor
    from scheduler.actions.house import Hand, House
    from scheduler.settings import Loaded

_HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 110}
_ONE = "Planned maintenance by running hours for a ship's vacuum plant."

app = typer.Typer(
    help=f"{_ONE}\n\nExample: leadline demo",
    context_settings=_HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
job_app = typer.Typer(
    help="Jobs.\n\nExample: leadline job done KEY --by NAME --test passed",
    context_settings=_HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
key_app = typer.Typer(
    help="People, keys and sign-in links.\n\nExample: leadline key link chief",
    context_settings=_HELP,
    rich_markup_mode=None,
    no_args_is_help=True,
)
config_app = typer.Typer(
    help="Settings.\n\nExample: leadline config show",
    context_settings=_HELP,
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


def _settings(**flags: Any) -> "Loaded":
    from scheduler.settings import load

    return load({"database": _chosen.get("database"), **flags}, file=_chosen.get("config"))


@contextmanager
def _house(*, new: bool = False) -> "Iterator[House]":
    """The house on the database chosen; the command line writes it directly. new: an SQLite file may be made."""
    from scheduler.actions.house import House
    from scheduler.clock import system_clock
    from scheduler.storage.database import open_database
    from scheduler.storage.migrate import create_or_check

    settings = _settings().settings
    database = open_database(settings.database, create=new, check=False)
    try:
        create_or_check(database)
        yield House(database, system_clock, settings)
    finally:
        database.close()


def _me() -> "Actor":
    import getpass

    from scheduler.actions.actor import Actor
    from scheduler.domain.words import Role

    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = "unknown"
    return Actor("command line", f"{user}, command line", Role.ADMIN)


def _hand(asked: dict[str, Any]) -> "Hand":
    import secrets

    from scheduler.actions.house import Hand

    return Hand(_me(), secrets.token_hex(16), asked)


def _say(text: str) -> None:
    print(text, file=sys.stderr)


def _out(value: Any, as_json: bool, plain: Callable[[], Iterator[str]]) -> None:
    if as_json:
        print(json.dumps(value, indent=2, default=str))
    else:
        for line in plain():
            print(line)


def _instant(text: str | None) -> Any:
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


def _plants(house: "House", plant: str | None) -> list[tuple[str, str]]:
    """(vessel, plant) pairs: the one named, or all."""
    from scheduler.actions import fleet
    from scheduler.storage.tables import AssetKind

    if plant is not None:
        place = fleet.locate(house, _me(), plant, AssetKind.PLANT)
        return [(place.vessel_id, place.id)]
    return [(vessel.id, p.id) for vessel, _ in fleet.list_vessels(house, _me()) for p in vessel.plants]


@app.command()
def serve(
    host: Annotated[str | None, typer.Option(help="address to listen on")] = None,
    port: Annotated[int | None, typer.Option(min=0, max=65535, help="port to listen on")] = None,
    base_url: Annotated[str | None, typer.Option(help="address people reach the server by")] = None,
) -> None:
    """Serve pages, API and calendar feed.

    Example: leadline --database ship.db serve --host 0.0.0.0 --base-url http://leadline.lan:8322
    """
    from dataclasses import replace

    import uvicorn

    from api.app import make_app
    from api.listening import listen
    from api.logs import set_up
    from scheduler.errors import SchedulerError

    settings = _settings(host=host, port=port, base_url=base_url).settings
    with listen(settings.host, settings.port) as sock:
        set_up(settings.log)
        application = make_app(replace(settings, port=sock.getsockname()[1]))
        server = uvicorn.Server(
            uvicorn.Config(application, log_config=None, access_log=False, proxy_headers=False, server_header=False)
        )
        with suppress(KeyboardInterrupt):
            server.run(sockets=[sock])
    if not server.started:
        raise SchedulerError("The server did not start; its words are above.")


@app.command()
def demo(
    folder: Annotated[
        Path | None, typer.Option(help="keep the demo's database here (default: a temporary folder)")
    ] = None,
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="port to listen on (default: 8322, or a free one)")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="prove the whole job on a fixed clock, then end")] = False,
    every: Annotated[float, typer.Option(min=1, help="seconds between the counters' live posts")] = 20.0,
) -> None:
    """Show the whole job on two invented ships: counters post, jobs fall due, a plan, a page, a feed.

    Example: leadline demo --folder /tmp/leadline
    """
    from api.demo import run_demo

    raise typer.Exit(run_demo(folder, port, check=check, every_seconds=every))


@app.command()
def due(
    plant: Annotated[str | None, typer.Argument(help="plant id (default: all)")] = None,
    check: Annotated[
        bool, typer.Option("--check", help="exit 3 when something is past due, 4 when past its limit")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show the open jobs with their due points.

    Example: leadline due avocet-plant
    """
    from api import saying, shapes
    from scheduler.actions.situation import situation
    from scheduler.domain.words import State

    rows: list[dict[str, Any]] = []
    lines: list[str] = []
    worst = 0
    with _house() as house:
        for vessel_id, plant_id in _plants(house, plant):
            now = situation(house, vessel_id, plant_id)
            lines.append(f"{now.vessel.name}, {now.plant.name}, ship time {saying.moment(now.at, now.offset_minutes)}")
            for job in now.jobs:
                if not job.first:
                    continue
                rows.append({"vessel": vessel_id, "plant": plant_id, **shapes.due_json(now, job)})
                left = "" if job.running_seconds_left is None else f"{job.running_seconds_left / 3600:8.0f} running h"
                when = f"{saying.ship(job.due_at, now.offset_minutes):%a %d %b %Y}"
                place = now.position_name(job.position)
                lines.append(
                    f"  {job.state.value:12} {when:12} {left:19} {place:14} {job.kind_name:20} {job.occurrence.key}"
                )
                worst = max(worst, {State.PAST_DUE: 3, State.PAST_LIMIT: 4}.get(job.state, 0))
    if not lines:
        _say("No vessel is here yet. Take in its document: leadline import ship.json")
    _out({"jobs": rows}, as_json, lambda: iter(lines))
    if check and worst:
        raise typer.Exit(worst)


@app.command()
def plan(
    plant: Annotated[str, typer.Argument(help="plant id")],
    new: Annotated[bool, typer.Option("--new", help="plan anew first")] = False,
    take: Annotated[
        str | None, typer.Option(help="take the proposed plan with this digest (or its first 12 letters)")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show, make or take a plant's plan.

    Example: leadline plan avocet-plant --new
    """
    from api.pen import PEN
    from scheduler.actions import feed, fleet, planning
    from scheduler.actions.situation import situation
    from scheduler.errors import Clash
    from scheduler.storage.tables import AssetKind

    with _house() as house:
        place = fleet.locate(house, _me(), plant, AssetKind.PLANT)
        if new:
            _say("Planning...")
            planning.propose(house, place.vessel_id, place.id)
        now = situation(house, place.vessel_id, place.id)
        if take is not None:
            digest = (
                now.proposed.digest
                if now.proposed and len(take) >= 12 and now.proposed.digest.startswith(take)
                else take
            )
            planning.take(house, _hand({"take": digest}), place, digest)
            feed.refresh(house, PEN(house.settings.shown_base_url()), place.vessel_id)
            now = situation(house, place.vessel_id, place.id)
        shown = now.proposed or now.taken
        by_key = {job.occurrence.key: job for job in now.jobs}
        told = {
            "taken": planning.plan_as_json(now.taken, by_key),
            "proposed": planning.plan_as_json(now.proposed, by_key),
        }
        if shown is None:
            raise Clash(f"There is no plan for {plant} yet. Make one: leadline plan {plant} --new")
        _out(told, as_json, lambda: planning.plan_lines(now, shown))


@app.command()
def reading(
    counter: Annotated[str, typer.Argument(help="counter id")],
    value: Annotated[float, typer.Argument(help="what the counter shows")],
    at: Annotated[str | None, typer.Option(help="when it was read, with offset (default: now)")] = None,
    as_json: AsJson = False,
) -> None:
    """Post a counter's reading by hand.

    Example: leadline reading plover-vp1-hours 12006 --at 2026-11-25T07:00:00Z
    """
    from dataclasses import replace

    from scheduler.actions import fleet, readings
    from scheduler.actions.counters import counter_book
    from scheduler.actions.ledger import derive_vessel
    from scheduler.errors import Refused
    from scheduler.storage.tables import AssetKind

    when = _instant(at)
    with _house() as house:
        place = fleet.locate(house, _me(), counter, AssetKind.COUNTER)
        item = {"counter": counter, "observed_at": when.isoformat(), "value": value}
        told = readings.store_now(house, replace(_me(), vessel_id=place.vessel_id), [item])["items"][0]
        if told["status"] in ("refused", "conflict"):
            raise Refused(told["why"])
        derive_vessel(house, place.vessel_id)
        judged = {entry.at_s: entry for entry in counter_book(house, place, limit=1000).entries}
        entry = judged.get(int(when.timestamp()))
        if entry is not None:
            told["verdict"] = f"{entry.verdict}: {entry.reason}" if entry.reason else str(entry.verdict)
    _out(told, as_json, lambda: iter([f"{told['status']}; {told['verdict'] or 'judged with the next reading'}"]))


@job_app.command("done")
def job_done(
    key: Annotated[str, typer.Argument(help="job key, as `leadline due` shows it")],
    by: Annotated[str, typer.Option(help="who did it")],
    test: Annotated[str, typer.Option(help="passed, failed or none")],
    at: Annotated[str | None, typer.Option(help="when it was done, with offset (default: now)")] = None,
    checked_by: Annotated[str | None, typer.Option(help="who checked it (someone else)")] = None,
    running_hours: Annotated[float | None, typer.Option(help="hours at that time (default: the counter's)")] = None,
    findings: Annotated[str, typer.Option(help="what was found")] = "",
    permit: Annotated[str | None, typer.Option(help="permit number")] = None,
    as_json: AsJson = False,
) -> None:
    """Close a job.

    Example: leadline job done knife_inspection:plover-pump-a-knives:1 --by "A. Second" --test passed
    """
    from api.pen import PEN
    from scheduler.actions import feed, jobs
    from scheduler.domain.words import Test

    if test not in [t.value for t in Test]:
        raise typer.BadParameter(f"{test!r}: passed, failed or none is expected", param_hint="--test")
    told = jobs.Close(
        done_at=_instant(at),
        done_by=by,
        test=Test(test),
        checked_by=checked_by,
        running_hours=running_hours,
        findings=findings,
        permit_no=permit,
    )
    with _house() as house:
        place, occurrence = jobs.job_place(house, _me(), key)
        answer = jobs.close_job(house, _hand({"close": key, "at": told.done_at.isoformat()}), place, occurrence, told)
        feed.refresh(house, PEN(house.settings.shown_base_url()), place.vessel_id)
    body = answer.body
    words = f"closed, {body['verdict']}" if body["closed"] else "test failed: it stays open"
    pump = f"; pump {body['pump']} {body['pump_state']}" if body["pump_state"] else ""
    _out(dict(body), as_json, lambda: iter([f"{key}: {words}{pump}; record {body['record']}"]))


@app.command()
def history(
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    out: Annotated[Path | None, typer.Option(help="file to write (default: stdout)")] = None,
    csv: Annotated[bool, typer.Option("--csv", help="CSV instead of JSON Lines")] = False,
    from_at: Annotated[str | None, typer.Option("--from", help="recorded at or after, with offset")] = None,
    to_at: Annotated[str | None, typer.Option("--to", help="recorded before, with offset")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON Lines (the default)")] = False,  # noqa: ARG001
) -> None:
    """Export a vessel's compliance history.

    Example: leadline history demo-avocet --out history.jsonl
    """
    from api.routes.work import export
    from scheduler.errors import Refused

    first = None if from_at is None else _instant(from_at)
    last = None if to_at is None else _instant(to_at)
    with _house() as house:
        lines = export(house, vessel, _me().name, "csv" if csv else "jsonl", from_at=first, to_at=last)
        if out is None:
            sys.stdout.writelines(lines)
            return
        try:
            with out.open("w", encoding="utf-8", newline="") as file:
                file.writelines(lines)
        except OSError as error:
            raise Refused(f"{out} cannot be written: {error.strerror}. Give another --out.") from error
    _say(f"Written: {out}. Check it: leadline verify {out}" if not csv else f"Written: {out}")


@app.command()
def verify(
    file: Annotated[Path, typer.Argument(help="JSON Lines export")],
    stamp: Annotated[str | None, typer.Option(help="record stamp kept elsewhere (on paper)")] = None,
    number: Annotated[int | None, typer.Option(help="number of the record that carries it (default: the last)")] = None,
    as_json: AsJson = False,
) -> None:
    """Check an exported history, offline: nothing changed, missing or re-ordered.

    Example: leadline verify history.jsonl --stamp 5f2c...
    """
    from dataclasses import asdict

    from scheduler.domain.verify import Broken, verify_lines
    from scheduler.errors import NotFound

    try:
        with file.open("rb") as lines:
            found = verify_lines(lines, expected_head=stamp, expected_number=number)
    except OSError as error:
        raise NotFound(
            f"{file} cannot be read: {error.strerror}. Give the file that `leadline history` wrote."
        ) from error
    if isinstance(found, Broken):
        if as_json:
            print(json.dumps({"verified": False, **asdict(found)}))
        _say(f"leadline: NOT VERIFIED{'' if found.number is None else f' at record {found.number}'}: {found.says}")
        raise typer.Exit(7)
    says = (
        f"Verified: {found.vessel}, {found.records} records, {found.first_number} to {found.last_number}, "
        f"record stamp {found.head}"
    )
    _out({"verified": True, **asdict(found)}, as_json, lambda: iter([says]))


@app.command()
def feed(
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str, typer.Argument(help="vessel id")],
    as_json: AsJson = False,
) -> None:
    """Make a person's calendar address for a vessel. It is shown this once.

    Example: leadline feed second-plover demo-plover
    """
    from api.pen import PEN
    from scheduler.actions import feed as feeds
    from scheduler.actions import people

    with _house() as house:
        token = people.make_feed_token(house, _me(), person_id=person, vessel_id=vessel)
        base = house.settings.shown_base_url()
        feeds.refresh(house, PEN(base), vessel)
    address = f"{base}/cal/{token}/plan.ics"
    _say("Shown this once. Calendar programs fetch it every quarter of an hour to once a day: it is no alarm.")
    _out({"address": address}, as_json, lambda: iter([address]))


@app.command("import")
def import_document(
    file: Annotated[Path, typer.Argument(help="vessel document (JSON)")],
    replace: Annotated[bool, typer.Option("--replace", help="replace the document that is there")] = False,
    as_json: AsJson = False,
) -> None:
    """Take in a vessel's document.

    Example: leadline import plover.json
    """
    from pydantic import ValidationError

    from api.errors import refused_from
    from scheduler.actions import fleet
    from scheduler.actions.documents import VESSEL
    from scheduler.errors import NotFound, Refused

    try:
        vessel = VESSEL.validate_json(file.read_bytes())
    except OSError as error:
        raise NotFound(f"{file} cannot be read: {error.strerror}.") from error
    except ValidationError as error:
        if any(found["type"] == "json_invalid" for found in error.errors()):
            raise Refused(f"{file} is not JSON: {error.errors()[0]['msg'].removeprefix('Invalid JSON: ')}.") from error
        wrong = refused_from(error)
        raise Refused(f"{file}: {wrong.says}", faults=wrong.faults) from error
    with _house(new=True) as house:
        held = [version for there, version in fleet.list_vessels(house, _me()) if there.id == vessel.id]
        if held and not replace:
            raise Refused(f"{vessel.id} is here already, version {held[0]}. To replace its document add --replace.")
        version, new = fleet.put_vessel(house, _me(), vessel, if_match=held[0] if held else None, if_new=not held)
    told = {"vessel": vessel.id, "version": version, "new": new}
    _out(told, as_json, lambda: iter([f"{vessel.id}: version {version}"]))


@app.command()
def upgrade(as_json: AsJson = False) -> None:
    """Bring the database's tables up to this version; an SQLite file is copied first.

    Example: leadline --database ship.db upgrade
    """
    from scheduler.storage.migrate import upgrade as bring_up

    done = bring_up(_settings().settings.database)
    copy = f"; copy: {done.backup}" if done.backup else ""
    told = {"before": done.before, "after": done.after, "backup": None if done.backup is None else str(done.backup)}
    words = (
        f"{done.before or 'empty'} to {done.after}{copy}" if done.before != done.after else f"already at {done.after}"
    )
    _out(told, as_json, lambda: iter([words]))


@key_app.command("person")
def key_person(
    person: Annotated[str, typer.Argument(help="person id, such as chief-plover")],
    name: Annotated[str, typer.Option(help="name as shown")],
    role: Annotated[str, typer.Option(help="engineer, chief, office or admin")],
    rank: Annotated[str, typer.Option(help="rank as shown")] = "",
    vessel: Annotated[str | None, typer.Option(help="vessel id (engineer, chief)")] = None,
    as_json: AsJson = False,
) -> None:
    """Make a person known.

    Example: leadline key person chief-plover --name "A. Chief" --rank "chief engineer" --role chief --vessel demo-plover
    """
    from scheduler.actions import people

    with _house(new=True) as house:
        people.add_person(
            house, _me(), person_id=person, name=name, rank=rank or role, role=_role(role), vessel_id=vessel
        )
    _say(f"{person} is known. A sign-in link: leadline key link {person}")
    _out({"person": person}, as_json, lambda: iter(()))


@key_app.command("add")
def key_add(
    role: Annotated[str, typer.Argument(help="counter, engineer, chief, office or admin")],
    label: Annotated[str, typer.Option(help="what it is for")],
    vessel: Annotated[str | None, typer.Option(help="vessel id (counter, engineer, chief)")] = None,
    person: Annotated[str | None, typer.Option(help="whose key it is")] = None,
    as_json: AsJson = False,
) -> None:
    """Make a key. It is shown this once.

    Example: leadline key add counter --vessel demo-plover --label "engine room gateway"
    """
    from scheduler.actions import people

    with _house(new=True) as house:
        key = people.add_key(house, _me(), role=_role(role), label=label, vessel_id=vessel, person_id=person)
    _say("Shown this once; only its hash is stored.")
    _out({"key": key}, as_json, lambda: iter([key]))


@key_app.command("list")
def key_list(as_json: AsJson = False) -> None:
    """Show the keys, without their secrets.

    Example: leadline key list
    """
    from scheduler.actions import people
    from scheduler.actions.house import maybe

    with _house() as house:
        rows = [
            {
                "key": row.prefix,
                "role": row.role.value,
                "vessel": row.vessel_id,
                "label": row.label,
                "last_used_at": maybe(row.last_used_s),
                "revoked_at": maybe(row.revoked_s),
            }
            for row in people.list_keys(house)
        ]
    if not rows:
        _say("No key is here yet. Make one: leadline key add ROLE --label TEXT")
    _out(
        {"keys": rows},
        as_json,
        lambda: (
            f"{r['key']}  {r['role']:9} {r['vessel'] or 'all':14} {'revoked' if r['revoked_at'] else 'good':8} {r['label']}"
            for r in rows
        ),
    )


@key_app.command("revoke")
def key_revoke(
    key: Annotated[str, typer.Argument(help="the key's eight letters, as `key list` shows")], as_json: AsJson = False
) -> None:
    """End a key at once.

    Example: leadline key revoke 1a2b3c4d
    """
    from scheduler.actions import people

    with _house() as house:
        people.revoke_key(house, _me(), key)
    _say(f"Key {key} is revoked.")
    _out({"revoked": key}, as_json, lambda: iter(()))


@key_app.command("link")
def key_link(person: Annotated[str, typer.Argument(help="person id")], as_json: AsJson = False) -> None:
    """Make a one-time sign-in link for a person.

    Example: leadline key link chief-plover
    """
    from scheduler.actions import people

    with _house() as house:
        token = people.make_link(house, person)
        link = f"{house.settings.shown_base_url()}/enter/{token}"
        _say(f"Good once, for {house.settings.link_minutes} minutes.")
    _out({"link": link}, as_json, lambda: iter([link]))


@config_app.command("show")
def config_show(as_json: AsJson = False) -> None:
    """Show each setting, its value and where it came from.

    Example: leadline config show
    """
    rows = list(_settings().shown())
    told = {name: {"value": value, "from": source, "is": says} for name, value, source, says in rows}
    _out(told, as_json, lambda: (f"{name} = {value}  ({source}; {says})" for name, value, source, says in rows))


def _role(text: str) -> Any:
    from scheduler.domain.words import Role

    try:
        return Role(text)
    except ValueError:
        known = ", ".join(role.value for role in Role)
        raise typer.BadParameter(f"{text!r}: one of {known} is expected") from None
