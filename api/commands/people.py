"""People, keys and sign-in links."""

from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, hand, me
from api.commands.shared.groups import group
from api.commands.shared.options import one_of

if TYPE_CHECKING:
    from datetime import datetime

    from scheduler.actions.base.context import Context
    from scheduler.actions.people.keys import KeyShown

key_app = group("key", "People, keys and sign-in links.", "key link chief")
people_app = group("people", "Who is known, and where they are signed in.", "people list")


def _role(text: str) -> str:
    """The text of a role. Raises BadParameter."""
    from scheduler.domain.base.enums import Role

    return one_of(*(role.value for role in Role))(text)


@command(key_app, "person", new=True)
def add_person(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id, such as chief-plover")],
    name: Annotated[str, typer.Option(help="name as shown")],
    role: Annotated[
        str, typer.Option(help="engineer, chief, hotel, chief officer, master, office or admin", parser=_role)
    ],
    rank: Annotated[str, typer.Option(help="rank as shown")] = "",
    vessel: Annotated[str | None, typer.Option(help="vessel id (all but office and admin)")] = None,
) -> Output:
    """Make a person known.

    Example: leadline key person chief-plover --name "A. Chief" --rank "chief engineer" --role chief --vessel demo-plover
    """
    from scheduler.actions.people import people
    from scheduler.domain.base.enums import Role

    people.add_person(context, me(), person_id=person, name=name, rank=rank or role, role=Role(role), vessel_id=vessel)
    return Output({"person": person}, talk=[f"{person} is known. A sign-in link: leadline key link {person}"])


@command(key_app, "add", new=True)
def add_key(
    context: "Context",
    role: Annotated[str, typer.Argument(help="counter, ship, or the role of the person whose it is", parser=_role)],
    label: Annotated[str, typer.Option(help="what it is for")],
    vessel: Annotated[
        str | None, typer.Option(help="vessel id (all but office and admin; a ship's may be new here)")
    ] = None,
    person: Annotated[str | None, typer.Option(help="whose key it is; a counter's or a ship's is nobody's")] = None,
    days: Annotated[
        int | None, typer.Option(min=1, max=3650, help="good for so many days (default: until withdrawn)")
    ] = None,
) -> Output:
    """Make a key. It is shown this once.

    Example: leadline key add counter --vessel demo-plover --label "engine room gateway"
    """
    from scheduler.actions.people import people
    from scheduler.domain.base.enums import Role

    key = people.add_key(context, me(), role=Role(role), label=label, vessel_id=vessel, person_id=person, days=days)
    return Output({"key": key}, [key], ["Shown this once; only its hash is stored."])


@command(key_app, "give")
def give_key(
    context: "Context",
    key: Annotated[str, typer.Argument(help="the key's eight letters, as `key list` shows")],
    person: Annotated[str, typer.Argument(help="person id")],
) -> Output:
    """Say whose a key is that was made before keys belonged to people.

    Example: leadline key give 1a2b3c4d chief-plover
    """
    from scheduler.actions.people import people

    people.give_key(context, me(), key, person)
    return Output({"key": key, "person": person}, talk=[f"Key {key} is {person}'s."])


@command(key_app, "list")
def list_keys(context: "Context") -> Output:
    """Show the keys, without their secrets: whose, last used, until when.

    Example: leadline key list
    """
    from scheduler.actions.people import keys

    found = keys.keys_shown(context, me())
    rows = [
        {
            "key": one.prefix,
            "role": one.role.value,
            "vessel": one.vessel_id,
            "label": one.label,
            "person": one.person_id,
            "made_at": one.made_at,
            "made_by": one.made_by,
            "last_used_at": one.last_used_at,
            "expires_at": one.expires_at,
            "revoked_at": one.revoked_at,
            "follows": one.follows,
            "state": one.state,
        }
        for one in found
    ]
    lines = [
        f"{one.prefix}  {one.role.value:13} {one.vessel_id or 'all':14} {'revoked' if one.revoked_at else one.state:8} "
        f"{one.label}, {_whose(one)}, used {_day(one.last_used_at, 'never')}, "
        f"until {_day(one.expires_at, 'withdrawn')}"
        for one in found
    ]
    return Output(
        {"keys": rows}, lines, [] if rows else ["No key is here yet. Make one: leadline key add ROLE --label TEXT"]
    )


def _day(at: "datetime | None", never: str) -> str:
    return never if at is None else f"{at:%Y-%m-%d %H:%MZ}"


@command(key_app, "rotate")
def rotate_key(
    context: "Context",
    key: Annotated[str, typer.Argument(help="the key's eight letters, as `key list` shows")],
    both_days: Annotated[
        int, typer.Option(min=0, max=365, help="days on which both are good; 0: the older ends now")
    ] = 7,
) -> Output:
    """Make a key that takes over from one; both are good for some days. It is shown this once.

    Example: leadline key rotate 1a2b3c4d --both-days 3
    """
    from scheduler.actions.people import keys

    made = keys.rotate_key(context, me(), key, both_days)
    return Output({"key": made}, [made], [f"Shown this once. Key {key} is good for {both_days} more days."])


def _whose(one: "KeyShown") -> str:
    """A key of people that is nobody's reads and records, but neither decides nor signs."""
    nobody = "of a machine" if one.role.value in ("counter", "ship") else "OF NO PERSON: decides and signs nothing"
    return f"of {one.person_id}" if one.person_id else nobody


@command(key_app, "revoke")
def revoke_key(
    context: "Context", key: Annotated[str, typer.Argument(help="the key's eight letters, as `key list` shows")]
) -> Output:
    """End a key at once.

    Example: leadline key revoke 1a2b3c4d
    """
    from scheduler.actions.people import people

    people.revoke_key(context, me(), key)
    return Output({"revoked": key}, talk=[f"Key {key} is revoked."])


@command(key_app, "link")
def make_link(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str | None, typer.Option(help="vessel id, where several vessels have such a person")] = None,
) -> Output:
    """Make a one-time sign-in link for a person.

    Example: leadline key link chief-plover
    """
    from scheduler.actions.people import people

    base = context.settings.must_have_base_url()
    link = f"{base}/enter/{people.make_link(context, person, vessel, me())}"
    return Output({"link": link}, [link], [f"Good once, for {context.settings.link_minutes} minutes."])


@command(people_app, "list")
def list_people(
    context: "Context", withdrawn: Annotated[bool, typer.Option("--withdrawn", help="those withdrawn too")] = False
) -> Output:
    """Show who is known, what each may do, and where each is signed in.

    Example: leadline people list
    """
    from api.routes.answers.people import PersonAnswerLine
    from scheduler.actions.people import managing

    found = [one for one in managing.people_shown(context, me()) if withdrawn or one.withdrawn_at is None]
    lines = [
        f"{one.id:20} {one.vessel_id or 'all':14} {one.role.value:13} {one.name}, {one.rank}; "
        f"{'withdrawn' if one.withdrawn_at else f'{len(one.sessions)} sessions'}"
        f"{'' if one.passphrase_at or one.withdrawn_at else ', no passphrase'}"
        for one in found
    ]
    plain = [PersonAnswerLine.of(one).plain() for one in found]
    return Output(
        {"people": plain}, lines, [] if found else ["Nobody is known yet: leadline key person ID --name NAME"]
    )


@command(people_app, "change")
def change_person(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id")],
    name: Annotated[str | None, typer.Option(help="name from now on (default: as it is)")] = None,
    rank: Annotated[str | None, typer.Option(help="rank from now on (default: as it is)")] = None,
    role: Annotated[str | None, typer.Option(help="role from now on (default: as it is)", parser=_role)] = None,
    vessel: Annotated[str | None, typer.Option(help="vessel id, where several vessels have such a person")] = None,
    language: Annotated[str | None, typer.Option(help="in which pages are shown to the person: en, de")] = None,
) -> Output:
    """Change a person's name, rank, role or language.

    Example: leadline people change second-plover --role chief --rank "chief engineer"
    """
    from scheduler.actions.people import managing
    from scheduler.domain.base.enums import Role

    where = managing.vessel_of_person(context, me(), person, vessel)
    now = next(one for one in managing.people_shown(context, me()) if (one.vessel_id, one.id) == (where, person))
    name, rank, now_role = name or now.name, rank or now.rank, Role(role) if role else now.role
    asked = hand(context, {"change": person, "vessel": where, "name": name, "rank": rank, "role": now_role.value})
    managing.change_person(context, asked, where, person, name=name, rank=rank, role=now_role, language=language)
    return Output({"person": person}, talk=[f"{person} is {name}, {rank}, with the role {now_role.value}."])


@command(people_app, "withdraw")
def withdraw_person(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str | None, typer.Option(help="vessel id, where several vessels have such a person")] = None,
) -> Output:
    """Withdraw a person: sessions, keys, links and calendar addresses end; what was done stays under the name.

    Example: leadline people withdraw second-plover
    """
    from scheduler.actions.people import managing
    from scheduler.actions.work import leaving

    where = managing.vessel_of_person(context, me(), person, vessel)
    asked = hand(context, {"withdraw": person, "vessel": where})
    left = leaving.withdraw_leaver(context, asked, where, person).body
    said = [left["says"]] if "says" in left else []
    return Output(left, talk=[*said, f"{person} is withdrawn. Aboard again: leadline people back {person}"])


@command(people_app, "back")
def take_back(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str | None, typer.Option(help="vessel id, where several vessels have such a person")] = None,
) -> Output:
    """Take a withdrawn person back, with nothing to sign in by yet.

    Example: leadline people back second-plover
    """
    from scheduler.actions.people import managing

    where = managing.vessel_of_person(context, me(), person, vessel)
    managing.take_back(context, hand(context, {"back": person, "vessel": where}), where, person)
    return Output({"person": person}, talk=[f"{person} is back. A sign-in link: leadline key link {person}"])


@command(people_app, "sessions")
def list_sessions(context: "Context") -> Output:
    """Show where people are signed in.

    Example: leadline people sessions
    """
    from api.routes.answers.people import PersonAnswerLine
    from scheduler.actions.people import managing

    found = [PersonAnswerLine.of(one) for one in managing.people_shown(context, me())]
    rows = [{"person": one.id, "vessel": one.vessel, **session.plain()} for one in found for session in one.sessions]
    lines = [
        f"{r['id']}  {r['person']:20} by {r['proof']}, since {r['since_at']}, until {r['ends_at']}  {r['computer'] or r['agent']}"
        for r in rows
    ]
    return Output({"sessions": rows}, lines, [] if rows else ["Nobody is signed in."])


@command(people_app, "end")
def end_session(
    context: "Context", session: Annotated[str, typer.Argument(help="the session, as `people sessions` shows it")]
) -> Output:
    """Sign a browser out.

    Example: leadline people end 1a2b3c4d5e6f
    """
    from scheduler.actions.people import managing

    managing.end_session(context, me(), session)
    return Output({"session": session}, talk=["Signed out there."])
