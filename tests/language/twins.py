"""Lists the pages of the manual whose translations lag behind the English text, and notes those that were brought up to it.

`python -m tests.language.twins` lists; `python -m tests.language.twins plan crew` says that the translations of these two say now
what the English pages say.
"""

import argparse
from collections.abc import Iterator

from api.pages.manual.chapters import TEXTS, digest_in, digest_of, names, source_of
from tests.language.catalogue import OTHERS


def lagging() -> Iterator[tuple[str, str]]:
    """(language, page) of each page that changed since its translation was last held against it, or has none."""
    for code in OTHERS:
        for name in names():
            if not (TEXTS / code / f"{name}.md").is_file() or digest_in(name, code) != digest_of(name):
                yield code, name


def note(name: str, code: str) -> None:
    """Write into the head of a translation that it says what the English page says now."""
    text = f"<!-- English text: {digest_of(name)} -->\n\n{source_of(name, code)}"
    (TEXTS / code / f"{name}.md").write_text(text, encoding="utf-8")


def main() -> None:
    """Notes the pages named, then lists those that lag."""
    parser = argparse.ArgumentParser(prog="python -m tests.language.twins", description=__doc__)
    parser.add_argument("same", nargs="*", choices=[[], *names()], help="pages whose translations say the same now")
    for name in parser.parse_args().same:
        for code in OTHERS:
            note(name, code)
    for code, name in lagging():
        print(f"{code}: {name}")


if __name__ == "__main__":
    main()
