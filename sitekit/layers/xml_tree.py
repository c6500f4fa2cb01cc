"""A small tree of an XML text with the line of every element: no entities, no document types, no absurd sizes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from sitekit.errors import Fault, InputFault

MOST_ELEMENTS = 5_000_000
DEEPEST = 200


@dataclass
class Element:
    """One element: its name without the namespace, attributes, text of its own, children, line in the file."""

    name: str
    attributes: dict[str, str]
    line: int
    text: str = ""
    children: list[Element] = field(default_factory=list)

    def child(self, name: str) -> Element | None:
        """First child of that name."""
        return next((c for c in self.children if c.name == name), None)

    def said(self, name: str) -> str:
        """Text of the first child of that name, empty without one."""
        found = self.child(name)
        return found.text.strip() if found else ""

    def walk(self) -> Iterator[Element]:
        """All elements from this one down, in the order of the file."""
        waiting = [self]
        while waiting:
            one = waiting.pop()
            yield one
            waiting.extend(reversed(one.children))


def parse_xml(data: bytes, where: str) -> Element:
    """Return the root element of an XML text.

    Parameters
    ----------
    data : bytes
        The whole text.
    where : str
        For messages.

    Raises
    ------
    InputFault
        If it is no XML, declares a document type or entities (they can grow without end), or has more than 5 million
        elements or 200 levels.
    """
    parser = expat.ParserCreate()
    parser.buffer_text = True
    top: list[Element] = []
    stack: list[Element] = []
    count = 0

    def refuse(came: str, do: str) -> InputFault:
        return InputFault(Fault(where, came, "a plain XML file", do))

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        if count > MOST_ELEMENTS or len(stack) >= DEEPEST:
            raise refuse(f"more than {MOST_ELEMENTS:,} elements or {DEEPEST} levels", "Split the file.")
        plain = {k.rsplit(":", 1)[-1]: v for k, v in attributes.items()}
        one = Element(name.rsplit(":", 1)[-1], plain, parser.CurrentLineNumber)
        (stack[-1].children if stack else top).append(one)
        stack.append(one)

    def end(_: str) -> None:
        stack.pop()

    def text(data: str) -> None:
        stack[-1].text += data

    def doctype(*_: object) -> None:
        raise refuse("declares a document type or entities", "Save it again with the program it came from.")

    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
    parser.StartDoctypeDeclHandler = doctype
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        reason = expat.ErrorString(error.code)
        raise refuse(
            f"is no XML: {reason}, line {error.lineno}", "Save it again with the program it came from."
        ) from None
    return top[0]
