"""`python -m seed_fleet URL`: puts the two invented ships on a server and posts their counters' past, then the present.

Keys come from the environment, so that they show in no list of processes:

    LEADLINE_SEED_KEYS='{"office": "...", "counter": {"demo-plover": "..."}, "engineer": {"demo-plover": "..."}}'

With --enact the work of the past is told too, for a server whose clock goes with it: before each step {"clock": INSTANT} is
printed, and a line on stdin says that the clock stands there; {"clock": null} lets it go. The keys then name "second", each
ship's second engineer.

Exit codes: 0 done (or ended by SIGTERM while live), 1 could not, 2 wrong use, 143 ended by SIGTERM before the past was
complete. Progress is on stdout, one JSON object a line; talk is on stderr.
"""

import argparse
import json
import math
import os
import random
import signal
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

import httpx

from seed_fleet.gateway import GaveUpError, Server
from seed_fleet.posting import Clock, Keys, fill, live, put_documents
from seed_fleet.running import Run
from seed_fleet.ships import SHIPS

KEYS_VARIABLE = "LEADLINE_SEED_KEYS"


class StoppedError(BaseException):
    """SIGTERM came; like an interrupt from the keyboard, nothing on the way may swallow it."""


def read_keys(options: argparse.Namespace, environ: Mapping[str, str]) -> Keys:
    """Keys from the environment, overruled by options. Raises ValueError in plain words when one is missing."""
    try:
        given = json.loads(environ.get(KEYS_VARIABLE) or "{}")
    except ValueError as error:
        raise ValueError(f"{KEYS_VARIABLE} is not JSON ({error.__class__.__name__}).") from None
    if not isinstance(given, dict):
        raise ValueError(f"{KEYS_VARIABLE}: an object with office, counter and engineer was expected.")
    office = options.office_key or given.get("office")
    maps: list[dict[str, str]] = []
    for word, pairs in (("counter", options.counter_key), ("engineer", options.engineer_key), ("second", ())):
        named = given.get(word, {})
        if not isinstance(named, dict) or not all(isinstance(key, str) for key in named.values()):
            raise ValueError(f'{KEYS_VARIABLE}: {word} must be an object of vessel and key, {{"demo-plover": "..."}}.')
        maps.append({**named, **dict(pairs)})
    if not isinstance(office, str) or not office:
        raise ValueError(f'no office key: give "office" in {KEYS_VARIABLE}, or --office-key.')
    known = {ship.vessel for ship in SHIPS}
    if strange := sorted({*maps[0], *maps[1]} - known):
        raise ValueError(f"no vessel {strange[0]!r} in this fleet; expected {' or '.join(sorted(known))}.")
    if not maps[0] and not options.documents:
        raise ValueError(f'no counter key: give "counter" in {KEYS_VARIABLE}, or --counter-key demo-plover=KEY.')
    if missing := sorted(set(maps[0]) - set(maps[1])):
        raise ValueError(f"{missing[0]}: a counter key but no engineer key (the engineer posts a counter's renewal).")
    if options.enact and not options.documents and (missing := sorted(set(maps[0]) - set(maps[2]))):
        raise ValueError(f"{missing[0]}: no key of the second engineer, who tells the past work.")
    return Keys(office, *maps)


def run_seed(argv: Sequence[str] | None = None, environ: Mapping[str, str] = os.environ) -> int:
    """The command. Returns the exit code."""
    parser = _parser()
    options = parser.parse_args(argv)
    clock: Clock = lambda: datetime.now(UTC)  # noqa: E731 - a value handed on
    until: datetime = options.until or clock()
    if options.live is not None and until > clock() + timedelta(minutes=5):
        parser.error("--until lies in the future: live readings would fall behind it. Give an earlier one, or none.")
    try:
        keys = read_keys(options, environ)
    except ValueError as error:
        parser.error(str(error))

    def stop(*_: object) -> None:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        raise StoppedError

    def report(done: int, of: int, what: str) -> None:
        if options.progress:
            print(json.dumps({"done": done, "of": of, "what": what}), flush=True)

    def pace(at: datetime | None) -> None:
        """The server's clock is wanted at an instant, or let go."""
        if at != paced[0]:
            print(json.dumps({"clock": None if at is None else at.isoformat()}), flush=True)
            if not sys.stdin.readline():
                raise GaveUpError("nobody turns the server's clock (stdin has ended)")
            paced[0] = at

    filled = False
    paced: list[datetime | None] = [until]
    before = signal.signal(signal.SIGTERM, stop)
    try:
        with httpx.Client(base_url=options.url, timeout=30, trust_env=False) as client:
            jitter = random.Random()  # noqa: S311 - spreads waits, no secret
            door = Server(client=client, sleep=time.sleep, jitter=jitter, tries=int(options.tries))
            ships = [ship for ship in SHIPS if options.documents or ship.vessel in keys.counter]
            runs = [Run(ship, options.seed, until, options.years, worked=options.enact) for ship in ships]
            if options.documents:
                if options.enact:
                    pace(min(run.start for run in runs))
                put_documents(runs, door, keys, report)
                return 0
            # A past that ends at a named instant is enacted, not sent: unless live, its posts name no sending time.
            enacted = options.enact or (options.until is not None and options.live is None)
            gateways = fill(runs, door, keys, None if enacted else clock, report, pace if options.enact else None)
            if options.enact:
                pace(None)
                for gateway in gateways:
                    gateway.clock = clock
            filled = True
            counted = sum((gateway.tally for gateway in gateways[1:]), gateways[0].tally)
            print(f"The past is posted: {dict(counted)}.", file=sys.stderr, flush=True)
            if options.live is not None:
                live(runs, gateways, options.live, door, clock, report)
    except StoppedError:
        if not filled:
            print("Stopped before the past was complete.", file=sys.stderr)
        return 0 if filled else 143
    except GaveUpError as error:
        print(f"seed_fleet: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # Whoever reads the progress is gone: end quietly, and let no flush at exit complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    finally:
        signal.signal(signal.SIGTERM, before)
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m seed_fleet", description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("url", metavar="URL", type=_url, help="the server, such as http://127.0.0.1:8000")
    parser.add_argument("--office-key", metavar="KEY", help=f"better in {KEYS_VARIABLE}")
    for word in ("counter", "engineer"):
        parser.add_argument(f"--{word}-key", metavar="VESSEL=KEY", type=_pair, action="append", default=[])
    parser.add_argument("--seed", type=int, default=1, help="another seed, another past (default 1)")
    parser.add_argument("--until", metavar="RFC3339", type=_instant, help="end of the past (default: now)")
    parser.add_argument("--years", type=_between(0.05, 10), default=2.0, help="length of the past (default 2)")
    parser.add_argument("--live", metavar="SECONDS", type=_between(1, 86400), help="then go on, posting every SECONDS")
    parser.add_argument("--documents", action="store_true", help="put the documents only; needs the office key alone")
    parser.add_argument(
        "--enact", action="store_true", help="the work of the past too, the server's clock going with it"
    )
    parser.add_argument("--tries", type=_between(1, 100), default=8, help="requests before giving up (default 8)")
    parser.add_argument("--progress", action="store_true", help='one JSON line a step: {"done", "of", "what"}')
    return parser


def _url(text: str) -> str:
    if not text.startswith(("http://", "https://")):
        raise argparse.ArgumentTypeError(f"{text!r}: an address such as http://127.0.0.1:8000 was expected")
    return text


def _pair(text: str) -> tuple[str, str]:
    vessel, sign, key = text.partition("=")
    if not (vessel and sign and key):
        raise argparse.ArgumentTypeError("VESSEL=KEY was expected, such as demo-plover=...")
    return vessel, key


def _instant(text: str) -> datetime:
    try:
        at: datetime | None = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise argparse.ArgumentTypeError(f"{text!r}: an instant with its offset was expected, 2026-11-25T09:00:00Z")
    return at.astimezone(UTC)


def _between(least: float, most: float) -> Callable[[str], float]:
    def number(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(f"{text!r}: a number from {least:g} to {most:g} was expected")
        return value

    return number


if __name__ == "__main__":
    sys.exit(run_seed())
