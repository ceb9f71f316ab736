"""`leadline`: errors in words on stderr, with the exit code that tells a script what to do."""

import sys


def main() -> None:
    """The command's entry."""
    from api.commands.app import app
    from scheduler.errors import Busy, SchedulerError, Stale

    try:
        app(prog_name="leadline")
    except SchedulerError as error:
        code, said = 6 if isinstance(error, Stale) else 75 if isinstance(error, Busy) else 1, error
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    else:
        return
    print(f"leadline: {said.says}", file=sys.stderr)
    for pointer, says in said.faults[1:] if len(said.faults) > 1 else ():
        print(f"  {pointer}: {says}", file=sys.stderr)
    sys.exit(code)


if __name__ == "__main__":
    main()
