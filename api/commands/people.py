"""People, keys and sign-in links."""

from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, me
from api.commands.shared.groups import group
from api.commands.shared.options import one_of

if TYPE_CHECKING:
    from scheduler.actions.base.context import Context

key_app = group("key", "People, keys and sign-in links.", "key link chief")


def _role(text: str) -> str:
    """The text of a role. Raises BadParameter."""
    from scheduler.domain.base.enums import Role

    return one_of(*(role.value for role in Role))(text)


@command(key_app, "person", new=True)
def add_person(
    context: "Context",
    person: Annotated[str, typer.Argument(help="person id, such as chief-plover")],
    name: Annotated[str, typer.Option(help="name as shown")],
    role: Annotated[str, typer.Option(help="engineer, chief, office or admin", parser=_role)],
    rank: Annotated[str, typer.Option(help="rank as shown")] = "",
    vessel: Annotated[str | None, typer.Option(help="vessel id (engineer, chief)")] = None,
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
    role: Annotated[str, typer.Argument(help="counter, engineer, chief, office or admin", parser=_role)],
    label: Annotated[str, typer.Option(help="what it is for")],
    vessel: Annotated[str | None, typer.Option(help="vessel id (counter, engineer, chief)")] = None,
    person: Annotated[str | None, typer.Option(help="whose key it is")] = None,
) -> Output:
    """Make a key. It is shown this once.

    Example: leadline key add counter --vessel demo-plover --label "engine room gateway"
    """
    from scheduler.actions.people import people
    from scheduler.domain.base.enums import Role

    key = people.add_key(context, me(), role=Role(role), label=label, vessel_id=vessel, person_id=person)
    return Output({"key": key}, [key], ["Shown this once; only its hash is stored."])


@command(key_app, "list")
def list_keys(context: "Context") -> Output:
    """Show the keys, without their secrets.

    Example: leadline key list
    """
    from scheduler.actions.people import people

    rows = [
        {
            "key": row.prefix,
            "role": row.role.value,
            "vessel": row.vessel_id,
            "label": row.label,
            "last_used_at": row.last_used_at,
            "revoked_at": row.revoked_at,
        }
        for row in people.list_keys(context)
    ]
    lines = [
        f"{r['key']}  {r['role']:9} {r['vessel'] or 'all':14} {'revoked' if r['revoked_at'] else 'good':8} {r['label']}"
        for r in rows
    ]
    return Output(
        {"keys": rows}, lines, [] if rows else ["No key is here yet. Make one: leadline key add ROLE --label TEXT"]
    )


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
    link = f"{base}/enter/{people.make_link(context, person, vessel)}"
    return Output({"link": link}, [link], [f"Good once, for {context.settings.link_minutes} minutes."])
