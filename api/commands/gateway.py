"""The gateway beside the server: reads running-hour counters, posts what they show."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.shared.command import Output, command, say
from api.commands.shared.exit_codes import ExitCode
from api.commands.shared.groups import app

if TYPE_CHECKING:
    from api.gateway.check import Panel
    from api.gateway.running import Gateway
    from api.gateway.settings import GatewaySettings


@command(app)
def gateway(
    settings: Annotated[Path, typer.Option(help="the gateway's settings file (TOML)")] = Path("gateway.toml"),
    example: Annotated[bool, typer.Option("--example", help="print an example of the settings file, and end")] = False,
    check: Annotated[bool, typer.Option("--check", help="prove every counter's register settings, and end")] = False,
    panel: Annotated[
        list[str] | None,
        typer.Option(metavar="COUNTER=HOURS", help="with --check: hours read off that counter's panel"),
    ] = None,
    once: Annotated[bool, typer.Option("--once", help="one round: read, send, and end")] = False,
    put_aside: Annotated[
        bool, typer.Option("--put-aside", help="show what the server would not take, and end")
    ] = False,
    send_again: Annotated[
        bool, typer.Option("--send-again", help="with --put-aside: put the readings back to be sent")
    ] = False,
    take_out: Annotated[
        Path | None, typer.Option(help="with --put-aside: move the list into this new CSV file")
    ] = None,
) -> Output:
    """Read running-hour counters (Modbus TCP, files, standard input) and post what they show. Never writes to the plant.

    Runs until SIGTERM or Ctrl-C. --check ends with 0 when every counter is proven, 7 when not; --once with 75 when
    readings still wait for the server, 1 when a source failed or something was put aside.

    Example: leadline gateway --settings gateway.toml --check --panel plover-vp1-hours=12006
    """
    chosen = [
        name
        for name, on in (("--example", example), ("--check", check), ("--once", once), ("--put-aside", put_aside))
        if on
    ]
    if len(chosen) > 1:
        raise typer.BadParameter(f"{' and '.join(chosen)} do not go together; give one of them.")
    if panel and not check:
        raise typer.BadParameter("--panel goes with --check.")
    if (send_again or take_out) and not put_aside:
        raise typer.BadParameter("--send-again and --take-out go with --put-aside.")
    if send_again and take_out:
        raise typer.BadParameter("--send-again and --take-out do not go together; give one of them.")
    from api.gateway import settings as files

    if example:
        return Output(lines=files.EXAMPLE.read_text(encoding="utf-8").splitlines())
    read = files.load_gateway(settings)
    if check:
        return _check(read, panel or [])
    return _put_aside(read, send_again, take_out) if put_aside else _work(read, once)


def _work(settings: "GatewaySettings", one_round: bool) -> Output:
    import random
    import sys
    import time

    from api.gateway import loop, modbus, running
    from api.gateway.buffer import open_buffer
    from api.gateway.folder import Drop
    from api.gateway.lines import Lines
    from api.gateway.sender import Sender, client_for, read_key
    from scheduler.clock import system_clock
    from scheduler.errors import Refused

    if settings.counters:
        modbus.require_library()
    if settings.standard_input and sys.stdin is None:
        raise Refused('"standard_input" is true, but standard input is closed. Give this program one.')
    handle = sys.stdin.fileno() if settings.standard_input else -1
    key = read_key(settings)
    buffer = open_buffer(settings.buffer, most_mb=settings.buffer_mb)
    try:
        drop = Drop(settings.folder, buffer) if settings.folder else None
        if drop is not None:
            drop.set_up()
        with client_for(settings, key) as client:
            tell = running.Teller(say, system_clock, time.monotonic)
            work = running.Gateway(
                settings=settings,
                buffer=buffer,
                sender=Sender(client, buffer, system_clock),
                clock=system_clock,
                running=time.monotonic,
                chance=random.SystemRandom().random,
                tell=tell,
                drop=drop,
                lines=Lines() if settings.standard_input else None,
            )
            if one_round:
                loop.one_round(work, handle, time.sleep)
                return _round_made(work)
            with loop.woken_by_signals() as wake:
                tell.say(f"Sending to {settings.server}; {buffer.waiting()} readings wait in the buffer.")
                loop.run(work, wake, handle)
            tell.say(f"Ended; {buffer.waiting()} readings wait in the buffer.")
            return Output()
    finally:
        buffer.close()


def _round_made(work: "Gateway") -> Output:
    from api.gateway.running import TALLIED

    counts = {name: work.tally[name] for name in TALLIED} | {"waiting": work.buffer.waiting()}
    wrong = work.tell.troubles or counts["put aside"] or counts["bad lines"]
    code = ExitCode.TRY_LATER if counts["waiting"] else ExitCode.COULD_NOT if wrong else ExitCode.GOOD
    return Output(counts, [", ".join(f"{count} {name}" for name, count in counts.items())], code=code)


def _panels(settings: "GatewaySettings", given: list[str]) -> "dict[str, Panel]":
    import difflib

    from api.gateway.check import read_panel

    names = [counter.name for counter in settings.counters]
    panels = {}
    for text in given:
        name, _, figure = text.rpartition("=")
        if name not in names:
            close = difflib.get_close_matches(name, names, n=1)
            hint = f'Did you mean "{close[0]}"?' if close else f"Set are: {', '.join(names) or 'none'}."
            raise typer.BadParameter(f'--panel {text}: "{name}" is no counter of {settings.file}. {hint}')
        try:
            panels[name] = read_panel(figure)
        except ValueError:
            raise typer.BadParameter(
                f"--panel {text}: hours are expected, such as {name}=12345 or {name}=8114.5."
            ) from None
    return panels


def _check(settings: "GatewaySettings", given: list[str]) -> Output:
    from api.gateway import modbus
    from api.gateway.check import check_counter, shown_lines
    from scheduler.errors import Refused

    panels = _panels(settings, given)
    if not settings.counters:
        raise Refused(f"{settings.file} has no [counter...] tables, so there are no registers to check.")
    modbus.require_library()
    verdicts, silent = [], []
    for device in settings.devices:
        counters = [counter for counter in settings.counters if counter.device == device.name]
        try:
            with modbus.connected(device) as read:
                for counter in counters:
                    try:
                        words, around = modbus.read_around(read, counter)
                    except modbus.NoAnswer as error:
                        silent.append(error.says)
                    else:
                        verdicts.append((counter, check_counter(counter, words, around, panels.get(counter.name))))
        except modbus.NoAnswer as error:
            silent.append(error.says)
    proven = not silent and all(verdict.proven for _, verdict in verdicts)
    count = sum(verdict.proven for _, verdict in verdicts)
    return Output(
        {"proven": proven, "counters": [verdict.as_json() for _, verdict in verdicts], "not_read": silent},
        [line for counter, verdict in verdicts for line in shown_lines(verdict, counter)],
        [*(f"leadline: {says}" for says in silent), f"{count} of {len(settings.counters)} counters proven."],
        code=ExitCode.GOOD if proven else ExitCode.NOT_VERIFIED,
    )


def _put_aside(settings: "GatewaySettings", send_again: bool, take_out: Path | None) -> Output:
    from api.gateway.buffer import open_buffer
    from api.gateway.setaside import write_out

    buffer = open_buffer(settings.buffer, most_mb=settings.buffer_mb, new=False, alone=False)
    try:
        if send_again:
            moved = buffer.send_again()
            return Output({"to_send_again": moved}, [f"{moved} readings are in the buffer again."])
        rows = buffer.put_aside()
        if take_out is None:
            value = {"put_aside": [row._asdict() for row in rows]}
            return Output(value, [row.says() for row in rows], [f"{len(rows)} entries."])
        write_out(rows, take_out)
        buffer.forget_aside(row.id for row in rows)
        return Output({"moved": len(rows), "file": str(take_out)}, [f"{len(rows)} entries moved to {take_out}."])
    finally:
        buffer.close()
