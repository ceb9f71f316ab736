"""Calendar addresses."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from api.commands.shared.common import AsJson, app, command_context, me, out, say

if TYPE_CHECKING:
    from api.pages.feed.addresses import AddressShown


class _MakeIsMeant(TyperGroup):
    """`feed PERSON VESSEL` is `feed make PERSON VESSEL`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            args = ["make", *args]
        return super().parse_args(ctx, args)


feed_app = typer.Typer(
    cls=_MakeIsMeant,
    help="Calendar addresses. `feed PERSON VESSEL` makes one.\n\nExample: leadline feed second-plover demo-plover",
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    rich_markup_mode=None,
    no_args_is_help=True,
)
app.add_typer(feed_app, name="feed")


@feed_app.command("make")
def feed_make(
    person: Annotated[str, typer.Argument(help="person id")],
    vessel: Annotated[str | None, typer.Argument(help="vessel id; none: the whole fleet (office)")] = None,
    label: Annotated[str, typer.Option(help="what it is for, such as a phone")] = "",
    alarms: Annotated[
        bool, typer.Option("--alarms", help="with a reminder on the evening before planned work")
    ] = False,
    alarm_hour: Annotated[int, typer.Option(min=6, max=21, help="ship's hour of the reminders")] = 18,
    days_ahead: Annotated[
        int | None, typer.Option("--next-days", min=1, max=180, help="open jobs of so many days only, such as 14")
    ] = None,
    kinds: Annotated[str | None, typer.Option(help="job kinds only, by code, with commas")] = None,
    days: Annotated[int | None, typer.Option(help="days it is good; none: until it is withdrawn")] = None,
    as_json: AsJson = False,
) -> None:
    """Make a person's calendar address. It is shown this once.

    Example: leadline feed make second-plover demo-plover --label "my phone" --alarms
    """
    from api.pages.feed.addresses import address_shown, must_fit
    from scheduler.actions.feed import addresses

    with command_context() as context:
        base = context.settings.must_have_base_url()
        must_fit(base)
        codes = None if kinds is None else [code.strip() for code in kinds.split(",") if code.strip()]
        made = addresses.make_address(
            context,
            me(),
            person_id=person,
            vessel_id=vessel,
            label=label,
            alarms=alarms,
            kinds=codes,
            days=days,
            alarm_hour=alarm_hour,
            days_ahead=days_ahead,
        )
    _once(address_shown(base, made), base, as_json)


@feed_app.command("list")
def feed_list(
    person: Annotated[str | None, typer.Argument(help="person id; none: everybody's")] = None, as_json: AsJson = False
) -> None:
    """Show calendar addresses without their secrets: what each shows, and when and by what it was used last.

    Example: leadline feed list second-plover
    """
    from api.pages.feed.addresses import address_json
    from scheduler.actions.feed import addresses

    with command_context() as context:
        rows = [address_json(one) for one in addresses.addresses(context, me(), person)]
    if not rows:
        say("No calendar address is here yet. Make one: leadline feed PERSON VESSEL")

    def plain() -> Iterator[str]:
        for row in rows:
            shows = [row["vessel"] or "fleet", *(["alarms"] if row["alarms"] else []), *(row["kinds"] or ())]
            used = f"used {row['last_used_at']} by {row['agent']}" if row["last_used_at"] else "never used"
            until = f" until {row['expires_at']}" if row["expires_at"] and row["state"] == "good" else ""
            label = f"  {row['label']}" if row["label"] else ""
            yield f"{row['id']}  {row['person']:16} {row['state']}{until:9}  {' '.join(shows)}  {used}{label}"

    out({"feeds": rows}, as_json, plain)


@feed_app.command("rotate")
def feed_rotate(
    address: Annotated[str, typer.Argument(help="the address's eight letters, as `feed list` shows")],
    as_json: AsJson = False,
) -> None:
    """Give an address a new secret, shown this once; the old one ends at once.

    Example: leadline feed rotate 1a2b3c4d
    """
    from api.pages.feed.addresses import address_shown, must_fit
    from scheduler.actions.feed import addresses

    with command_context() as context:
        base = context.settings.must_have_base_url()
        must_fit(base)
        made = addresses.rotate(context, me(), address)
    _once(address_shown(base, made), base, as_json)


@feed_app.command("revoke")
def feed_revoke(
    address: Annotated[str, typer.Argument(help="the address's eight letters, as `feed list` shows")],
    as_json: AsJson = False,
) -> None:
    """Withdraw an address; for 30 days it serves a calendar that says so.

    Example: leadline feed revoke 1a2b3c4d
    """
    from scheduler.actions.feed import addresses

    with command_context() as context:
        addresses.revoke(context, me(), address)
    say(f"The calendar address {address} is withdrawn.")
    out({"id": address, "state": "withdrawn"}, as_json, lambda: iter(()))


def _once(told: "AddressShown", base: str, as_json: bool) -> None:
    """The addresses on stdout; the words, and on a terminal the QR code, beside them."""
    import sys

    from api.pages.feed.addresses import KEEP, REFRESH, address_is_local

    out(told.as_json(), as_json, lambda: iter((told.address, told.webcal, told.tasks, told.webcal_tasks)))
    if sys.stderr.isatty():
        import segno

        say("Point a phone's camera at it to subscribe:")
        segno.make(told.webcal, error="m").terminal(out=sys.stderr, compact=True)
    for line in (*KEEP, *REFRESH, *address_is_local(base)):
        say(line)
