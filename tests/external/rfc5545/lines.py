"""A reader of iCalendar made from the grammar of RFC 5545 section 3.1 alone, strict where a client may be."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Part:
    """A component: its properties in order (name, parameters, raw value) and the components inside it."""

    name: str
    properties: list[tuple[str, dict[str, str], str]] = field(default_factory=list)
    parts: list["Part"] = field(default_factory=list)

    def all(self, name: str) -> list[str]:
        """Raw values of every property of that name."""
        return [value for known, _, value in self.properties if known == name]

    def one(self, name: str) -> str:
        """The value of a property that stands exactly once."""
        found = self.all(name)
        assert len(found) == 1, f"{name} stands {len(found)} times in {self.name}"
        return found[0]

    def parameters(self, name: str) -> dict[str, str]:
        """Parameters of the first property of that name."""
        return next(parameters for known, parameters, _ in self.properties if known == name)


def physical(body: bytes) -> list[bytes]:
    """The physical lines without their CR LF; a bare CR or LF, or a missing last CR LF, raises AssertionError."""
    assert body.endswith(b"\r\n"), "the last line has no CR LF"
    lines = body.split(b"\r\n")[:-1]
    assert not any(b"\r" in line or b"\n" in line for line in lines), "a bare CR or LF"
    return lines


def unfolded(body: bytes) -> list[str]:
    """Content lines: CR LF and one space or tab removed (RFC 5545 3.1)."""
    lines: list[bytes] = []
    for line in physical(body):
        if line[:1] in (b" ", b"\t"):
            assert lines, "the first line cannot be a folded one"
            lines[-1] += line[1:]
        else:
            lines.append(line)
    return [line.decode("utf-8") for line in lines]


def content_line(line: str) -> tuple[str, dict[str, str], str]:
    """`name *(";" param) ":" value`; a parameter value may be quoted."""
    head, place, quoted = "", 0, False
    for place, letter in enumerate(line):  # noqa: B007
        if letter == '"':
            quoted = not quoted
        elif letter == ":" and not quoted:
            break
    else:
        raise AssertionError(f"no colon in {line!r}")
    head, value = line[:place], line[place + 1 :]
    name, *rest = head.split(";")
    assert name, "a line without a name"
    assert all(letter.isascii() and (letter.isalnum() or letter == "-") for letter in name), name
    parameters = {}
    for parameter in rest:
        key, equals, said = parameter.partition("=")
        assert equals, parameter
        parameters[key] = said.strip('"')
    return name, parameters, value


def parse(body: bytes) -> Part:
    """The calendar; components must nest."""
    root = Part("")
    open_parts = [root]
    for line in unfolded(body):
        name, parameters, value = content_line(line)
        if name == "BEGIN":
            part = Part(value)
            open_parts[-1].parts.append(part)
            open_parts.append(part)
        elif name == "END":
            assert open_parts[-1].name == value, f"END:{value} closes {open_parts[-1].name}"
            open_parts.pop()
        else:
            assert len(open_parts) > 1, "a property outside the calendar"
            open_parts[-1].properties.append((name, parameters, value))
    assert len(open_parts) == 1, "a component is not closed"
    assert [part.name for part in root.parts] == ["VCALENDAR"]
    return root.parts[0]


def text_value(raw: str) -> str:
    r"""A TEXT value (RFC 5545 3.3.11): `\\`, `\;`, `\,`, `\n`, `\N` are the only escapes; bare `;` and `,` are errors."""
    out, place = "", 0
    while place < len(raw):
        letter = raw[place]
        if letter == "\\":
            follower = raw[place + 1 : place + 2]
            assert follower in {"\\", ";", ",", "n", "N"}, f"escape \\{follower} is not one"
            out += "\n" if follower in "nN" else follower
            place += 2
            continue
        assert letter not in ";,", f"a bare {letter!r}"
        out += letter
        place += 1
    return out
