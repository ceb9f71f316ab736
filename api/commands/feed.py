"""Calendar addresses."""

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from api.commands.shared.command import Output, acting, command
from api.commands.shared.groups import group

if TYPE_CHECKING:
    from api.pages.feed.addresses import AddressShown
    from scheduler.actions.base.context import Context


class _MakeIsMeant(TyperGroup):
    """`feed PERSON VESSEL` is `feed make PERSON VESSEL`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            args = ["make", *args]
        return super().parse_args(ctx, args)


feed_app = group(
    "feed",
    "Calendar addresses. `feed PERSON VESSEL` makes one.",
    "feed second-plover demo-plover",
    cls=_MakeIsMeant,
)

Address = Annotated[str, typer.Argument(help="the address's eight letters, as `feed list` shows")]


@command(feed_app, "make")
def make_address(
    context: "Context",
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
) -> Output:
    """Make a person's calendar address. It is shown this once.

    Example: leadline feed make second-plover demo-plover --label "my phone" --alarms
    """
    from api.pages.feed.addresses import address_shown
    from scheduler.actions.feed import addresses

    base = _base(context)
    codes = None if kinds is None else [code.strip() for code in kinds.split(",") if code.strip()]
    made = addresses.make_address(
        context,
        acting(context),
        person_id=person,
        vessel_id=vessel,
        label=label,
        alarms=alarms,
        kinds=codes,
        days=days,
        alarm_hour=alarm_hour,
        days_ahead=days_ahead,
    )
    return _shown_once(address_shown(base, made), base)


@command(feed_app, "list")
def list_addresses(
    context: "Context", person: Annotated[str | None, typer.Argument(help="person id; none: everybody's")] = None
) -> Output:
    """Show calendar addresses without their secrets: what each shows, and when and by what it was used last.

    Example: leadline feed list second-plover
    """
    from api.pages.feed.addresses import address_json
    from scheduler.actions.feed import addresses

    rows = [address_json(one) for one in addresses.addresses(context, acting(context), person)]

    def lines() -> Iterator[str]:
        for row in rows:
            shows = [row["vessel"] or "fleet", *(["alarms"] if row["alarms"] else []), *(row["kinds"] or ())]
            used = f"used {row['last_used_at']} by {row['agent']}" if row["last_used_at"] else "never used"
            until = f" until {row['expires_at']}" if row["expires_at"] and row["state"] == "good" else ""
            label = f"  {row['label']}" if row["label"] else ""
            yield f"{row['id']}  {row['person']:16} {row['state']}{until:9}  {' '.join(shows)}  {used}{label}"

    none_yet = ["No calendar address is here yet. Make one: leadline feed PERSON VESSEL"]
    return Output({"feeds": rows}, lines(), [] if rows else none_yet)


@command(feed_app, "rotate")
def rotate_address(context: "Context", address: Address) -> Output:
    """Give an address a new secret, shown this once; the old one ends at once.

    Example: leadline feed rotate 1a2b3c4d
    """
    from api.pages.feed.addresses import address_shown
    from scheduler.actions.feed import addresses

    base = _base(context)
    return _shown_once(address_shown(base, addresses.rotate(context, acting(context), address)), base)


@command(feed_app, "revoke")
def revoke_address(context: "Context", address: Address) -> Output:
    """Withdraw an address; for 30 days it serves a calendar that says so.

    Example: leadline feed revoke 1a2b3c4d
    """
    from scheduler.actions.feed import addresses

    addresses.revoke(context, acting(context), address)
    return Output({"id": address, "state": "withdrawn"}, talk=[f"The calendar address {address} is withdrawn."])


def _base(context: "Context") -> str:
    """Where the server is reached. Raises Refused where it is not known, or too long for an address."""
    from api.pages.feed.addresses import must_fit

    base = context.settings.must_have_base_url()
    must_fit(base)
    return base


def _shown_once(shown: "AddressShown", base: str) -> Output:
    """The addresses on stdout; the words, and on a terminal the QR code, beside them."""
    from api.pages.feed.addresses import KEEP, REFRESH, address_is_local

    return Output(
        shown.as_json(),
        (shown.address, shown.webcal, shown.tasks, shown.webcal_tasks),
        (*_qr_code(shown.webcal), *KEEP, *REFRESH, *address_is_local(base)),
    )


def _qr_code(address: str) -> Iterator[str]:
    """Lines of the code, where a terminal shows them."""
    if sys.stderr.isatty():
        import io

        import segno

        drawn = io.StringIO()
        segno.make(address, error="m").terminal(out=drawn, compact=True)
        yield "Point a phone's camera at it to subscribe:"
        yield drawn.getvalue().rstrip("\n")
