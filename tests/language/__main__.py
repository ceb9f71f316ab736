"""Brings the catalogues up to the sources, lists what has no translation yet, counts, and names the pages of the manual whose
translations lag: python -m tests.language."""

import argparse

from scheduler.language import CATALOGUES
from tests.language.catalogue import OTHERS, extracted, po_path, text_of, untranslated, updated
from tests.language.twins import lagging


def main() -> None:
    """Writes each catalogue; with --only those named."""
    parser = argparse.ArgumentParser(prog="python -m tests.language", description=__doc__)
    parser.add_argument("--only", choices=CATALOGUES, action="append", help="leave the other catalogues as they are")
    parser.add_argument("--quiet", action="store_true", help="count, and list nothing")
    said = parser.parse_args()
    templates = extracted()
    for code in OTHERS:
        for name in said.only or CATALOGUES:
            catalogue = updated(code, name, templates[name])
            path = po_path(code, name)
            path.write_bytes(text_of(catalogue, path.read_bytes()))
            missing = list(untranslated(catalogue))
            for message in [] if said.quiet else missing:
                place = message.locations[0][0] if message.locations else ""
                print(f"{place}: {message.id!r}")
            print(f"{code} {name}: {len(catalogue)} messages, {len(missing)} without translation")
    for code, page in lagging():
        print(f"{code} manual page {page}: see python -m tests.language.twins -h")


if __name__ == "__main__":
    main()
