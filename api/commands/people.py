"""People, keys and sign-in links."""

from typing import Annotated, Any

import typer

from api.commands.shared.common import AsJson, command_context, key_app, me, out, say


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
    from scheduler.actions.people import people

    with command_context(new=True) as context:
        people.add_person(
            context, me(), person_id=person, name=name, rank=rank or role, role=_role(role), vessel_id=vessel
        )
    say(f"{person} is known. A sign-in link: leadline key link {person}")
    out({"person": person}, as_json, lambda: iter(()))


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
    from scheduler.actions.people import people

    with command_context(new=True) as context:
        key = people.add_key(context, me(), role=_role(role), label=label, vessel_id=vessel, person_id=person)
    say("Shown this once; only its hash is stored.")
    out({"key": key}, as_json, lambda: iter([key]))


@key_app.command("list")
def key_list(as_json: AsJson = False) -> None:
    """Show the keys, without their secrets.

    Example: leadline key list
    """
    from scheduler.actions.people import people

    with command_context() as context:
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
    if not rows:
        say("No key is here yet. Make one: leadline key add ROLE --label TEXT")
    out(
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
    from scheduler.actions.people import people

    with command_context() as context:
        people.revoke_key(context, me(), key)
    say(f"Key {key} is revoked.")
    out({"revoked": key}, as_json, lambda: iter(()))


@key_app.command("link")
def key_link(
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str | None, typer.Option(help="vessel id, where several vessels have such a person")] = None,
    as_json: AsJson = False,
) -> None:
    """Make a one-time sign-in link for a person.

    Example: leadline key link chief-plover
    """
    from scheduler.actions.people import people

    with command_context() as context:
        base = context.settings.must_have_base_url()
        link = f"{base}/enter/{people.make_link(context, person, vessel)}"
        say(f"Good once, for {context.settings.link_minutes} minutes.")
    out({"link": link}, as_json, lambda: iter([link]))


def _role(text: str) -> Any:
    from scheduler.domain.base.enums import Role

    try:
        return Role(text)
    except ValueError:
        known = ", ".join(role.value for role in Role)
        raise typer.BadParameter(f"{text!r}: one of {known} is expected") from None
