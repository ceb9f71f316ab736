"""`leadline`: errors in words on stderr, with the exit code that tells a script what to do."""

import os
import sys
from functools import cache
from typing import Any


def main() -> None:
    """The command's entry. It ends by SystemExit, whatever was typed, wherever its output goes, whenever Ctrl-C comes."""
    try:
        from api.commands.shared.streams import open_streams

        if sys.unraisablehook is sys.__unraisablehook__:
            sys.unraisablehook = _unraisable
        open_streams()
        code = _run()
    except KeyboardInterrupt:
        code = 130
    sys.exit(_ended(code))


def _run() -> int:
    from api.commands.shared.command import WrongSetting
    from api.commands.shared.exit_codes import ExitCode
    from api.commands.shared.streams import output_failed
    from scheduler.errors import Busy, SchedulerError, Stale
    from scheduler.wording.invisible import visible_text

    odd = next((word for word in sys.argv[1:] if _no_text(word)), None)
    if odd is not None:
        return _say(f"{odd!r} is not text in UTF-8. Type it anew, or rename the file.", 2)
    try:
        return _called()
    except WrongSetting as error:
        return _say(str(error), 2)
    except SchedulerError as error:
        expected = (
            ExitCode.CHANGED if isinstance(error, Stale) else ExitCode.TRY_LATER if isinstance(error, Busy) else 1
        )
        code = _say(error.says, expected)
        for pointer, says in error.faults[1:] if len(error.faults) > 1 else ():
            print(visible_text(f"  {pointer}: {says}"), file=sys.stderr)
        return code
    except OSError as error:
        if output_failed(error):
            return _output_lost(error)
        return _say(f"{f'{error.filename}: ' if error.filename else ''}{error.strerror or error}.", 1)
    except Exception as error:
        if os.environ.get("LEADLINE_TRACE"):
            raise
        return _say(
            f"Something in Leadline failed ({type(error).__name__}: {error!s:.200}). Run it once more with "
            "LEADLINE_TRACE=1 and give what it says to whoever keeps the program.",
            1,
        )


def _called() -> int:
    from typer._click.exceptions import ClickException  # what typer raises for wrong use has no public name

    try:
        code = _command().main(prog_name="leadline", standalone_mode=False)
    except ClickException as error:
        error.show()
        return error.exit_code
    return code if isinstance(code, int) else 0


@cache
def _command() -> Any:
    """All commands, put together once."""
    from typer.main import get_command

    from api.commands.app import app

    return get_command(app)


def _ended(code: int) -> int:
    from api.commands.shared.streams import end_streams

    try:
        end_streams()
    except OSError as error:
        return code if code == 130 else _output_lost(error)
    return code


def _say(text: str, code: int) -> int:
    from scheduler.wording.invisible import visible_text

    print(visible_text(f"leadline: {text}"), file=sys.stderr)
    return code


def _output_lost(error: OSError) -> int:
    """A reader that went away knows why; all else is said."""
    if isinstance(error, BrokenPipeError):
        return 1
    return _say(f"Standard output cannot be written: {(error.strerror or str(error)).lower()}.", 1)


def _no_text(word: str) -> bool:
    try:
        word.encode()
    except UnicodeEncodeError:
        return True
    return False


def _unraisable(found: "sys.UnraisableHookArgs") -> None:
    """An interrupt that came where Python can raise nothing ends the program all the same."""
    if found.exc_type is not None and issubclass(found.exc_type, KeyboardInterrupt):
        os._exit(130)
    sys.__unraisablehook__(found)


if __name__ == "__main__":
    main()
