"""XML in, hardened: what could make a parser fetch, swell or dig without end is refused before a tree is built.

`xml.etree` follows no external entity and the expat behind it stops a swelling one, but only after work is done, and
with words that help nobody. No map needs a document type, so every one is refused: with it go internal and external
entities.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from typing import Final
from xml.parsers import expat

from gridmap.errors import FileRefused

MOST_ELEMENTS: Final = 2_000_000
DEEPEST: Final = 64
_ERRORS_OF_AN_END: Final = {
    expat.errors.codes[expat.errors.XML_ERROR_NO_ELEMENTS],
    expat.errors.codes[expat.errors.XML_ERROR_UNCLOSED_TOKEN],
    expat.errors.codes[expat.errors.XML_ERROR_PARTIAL_CHAR],
    expat.errors.codes[expat.errors.XML_ERROR_UNCLOSED_CDATA_SECTION],
}


def markup(content: bytes, name: str) -> ET.Element:
    """Return the outermost element of an XML file that can do no harm.

    Parameters
    ----------
    content : bytes
        The file, of a size that was checked.
    name : str
        How a message names the file.

    Raises
    ------
    FileRefused
        A document type or an entity, elements nested over 64 deep or more than 2,000,000, cut off, not well formed.

    References
    ----------
    Bray et al. (2008), Extensible Markup Language (XML) 1.0, 5th edition, section 4.

    Examples
    --------
    >>> markup(b"<gpx><wpt/></gpx>", "trees.gpx").tag
    'gpx'
    >>> markup(b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", "trees.gpx")
    Traceback (most recent call last):
    gridmap.errors.FileRefused: File trees.gpx declares a document type: it could fetch or swell, and no map needs one.
    Export it again as plain KML or GPX.
    """
    _look_through(content, name)
    try:
        return ET.fromstring(content)
    except ET.ParseError as trouble:
        raise FileRefused(f"file {name} is no XML", str(trouble), "export it again") from None


def _look_through(content: bytes, name: str) -> None:
    """Run over the file once without keeping anything."""
    parser = expat.ParserCreate()
    deep = elements = 0

    def start(_tag: str, _attributes: object) -> None:
        nonlocal deep, elements
        deep, elements = deep + 1, elements + 1
        if deep > DEEPEST:
            raise FileRefused(f"file {name} is nested without end", f"over {DEEPEST} deep no map is", "export it again")
        if elements > MOST_ELEMENTS:
            raise FileRefused(f"file {name} has over {MOST_ELEMENTS:,} elements", "that is no grove's", "cut it down")

    def end(_tag: str) -> None:
        nonlocal deep
        deep -= 1

    def no_type(*_: object) -> None:
        rule = "it could fetch or swell, and no map needs one"
        raise FileRefused(f"file {name} declares a document type", rule, "export it again as plain KML or GPX")

    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.StartDoctypeDeclHandler = no_type
    parser.EntityDeclHandler = no_type
    try:
        parser.Parse(content, True)
    except (expat.ExpatError, ValueError, LookupError) as trouble:
        state = "is cut off" if getattr(trouble, "code", None) in _ERRORS_OF_AN_END else "is not well-formed XML"
        raise FileRefused(f"file {name} {state}", str(trouble), "export it again") from None


def local(element: ET.Element) -> str:
    """Return the name of an element without its namespace."""
    return str(element.tag).rpartition("}")[2]


def children(element: ET.Element, *names: str) -> Iterator[ET.Element]:
    """Yield the children of these names, whatever their namespace."""
    return (child for child in element if local(child) in names)


def child_text(element: ET.Element, name: str) -> str:
    """Return the text of a child in one line, exactly as typed otherwise: markup in it stays text."""
    found = next(children(element, name), None)
    return "" if found is None else one_line("".join(found.itertext()))


def one_line(text: str) -> str:
    """Join what was broken over several lines."""
    return re.sub(r"\s+", " ", text).strip()
