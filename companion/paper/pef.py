"""PEF (Portable Embosser Format 2008-1): braille pages as XML, in Unicode cells. Only this module knows it.

Made from the bytes of a .brf file, so that both forms of a page have the same cells. Source: the open specification, with
the namespace http://www.daisy.org/ns/2008/pef: a head of Dublin Core terms, of which dc:format and dc:identifier are
required; a body of volumes, sections, pages and rows; a volume says how many cells and rows its pages have.
"""

from __future__ import annotations

import re
import uuid
from pathlib import Path
from xml.sax.saxutils import escape

from companion.braille import SPACE, Reading, WordLanguage, decode, from_brf, to_ascii, to_cells
from companion.errors import Trouble
from companion.limits import run_limited
from companion.messages import _
from companion.places import read_within, visible

NAMESPACE = "http://www.daisy.org/ns/2008/pef"
DUBLIN_CORE = "http://purl.org/dc/elements/1.1/"
VERSION = "2008-1"
MEDIA_TYPE = "application/x-pef+xml"
ENDING = ".pef"
MOST_BYTES = 8_000_000  # of a document that is read; a cell takes three bytes
_NO_CELL = re.compile("[^\u2800-\u28ff]")  # a row holds cells alone
_NO_XML = re.compile("[\ufffe\uffff]")  # XML 1.0, 2.2; other letters that it forbids are escaped by `visible`


def to_pef(brf: bytes, title: str, width: int, height: int) -> bytes:
    """The pages of a .brf file as PEF.

    title: of the document, "" for none; it is to be what the pages themselves are headed. width, height: cells in a row
    and rows on a page; more where a line or a page of the file has more. The identifier depends on the cells and the title
    alone, so that the same pages are the same file.
    """
    pages = brf_pages(brf)
    cols = max([width, *(len(row) for page in pages for row in page)])
    rows = max([height, *map(len, pages)])
    title = _NO_XML.sub("", " ".join(visible(title).split()))
    identifier = uuid.uuid5(uuid.NAMESPACE_URL, f"{NAMESPACE} {cols} {rows} {title} {brf.decode('ascii', 'replace')}").urn
    out = ['<?xml version="1.0" encoding="UTF-8"?>', f'<pef version="{VERSION}" xmlns="{NAMESPACE}">',
           f'<head><meta xmlns:dc="{DUBLIN_CORE}">', f"<dc:format>{MEDIA_TYPE}</dc:format>",
           f"<dc:identifier>{identifier}</dc:identifier>"]
    out += [f"<dc:title>{escape(title)}</dc:title>"] if title else []
    out += ["</meta></head>", f'<body><volume cols="{cols}" rows="{rows}" rowgap="0" duplex="false"><section>']
    for page in pages:
        out += ["<page>", *(f"<row>{row}</row>" if row else "<row/>" for row in page), "</page>"]
    return "\n".join([*out, "</section></volume></body>", "</pef>", ""]).encode()


def brf_pages(brf: bytes) -> list[list[str]]:
    """The pages of a .brf file, each a list of lines of Unicode cells without empty cells at the end."""
    pages = []
    for page in brf.decode("ascii", "replace").split("\f"):
        lines = page.removesuffix("\r\n").split("\r\n")
        pages.append([_NO_CELL.sub(SPACE, to_cells(line)).rstrip(SPACE) for line in lines])
    return pages


def from_pef(data: bytes) -> bytes:
    """The pages of a PEF document as a .brf file. Raises ValueError for what is none."""
    import defusedxml.ElementTree
    from defusedxml.common import DefusedXmlException

    try:
        root = defusedxml.ElementTree.fromstring(data)
    except (SyntaxError, DefusedXmlException, LookupError) as error:
        raise ValueError(str(error)) from error
    if root.tag != f"{{{NAMESPACE}}}pef":
        raise ValueError(root.tag)
    pages = [[to_ascii((row.text or "").strip()).rstrip() for row in page.iter(f"{{{NAMESPACE}}}row")]
             for page in root.iter(f"{{{NAMESPACE}}}page")]
    return ("\r\n\f".join("\r\n".join(page) for page in pages) + "\r\n").encode("ascii", "replace")


def read_pef(path: str | Path, language: WordLanguage = WordLanguage.ENGLISH) -> Reading:
    """The music in a PEF document, by `run_limited`. language: of the words that are sung. Raises Trouble where it cannot be
    read, or holds no cells."""
    return run_limited(_read_pef, path, language, small=True)


def _read_pef(path: str | Path, language: WordLanguage) -> Reading:
    try:
        data = read_within(Path(path), MOST_BYTES)
        brf = from_pef(data) if len(data) <= MOST_BYTES else b""
    except OSError as error:
        raise Trouble(_("{path} could not be read: {reason}. Give a .pef or .brf file.").format(
                            path=path, reason=(error.strerror or str(error)).lower())) from error
    except ValueError as error:
        raise Trouble(_("{path} is no PEF document. Give one, or a .brf file.").format(path=path)) from error
    if not brf.strip():
        raise Trouble(_("{path} holds no cells, or more than any tune has. Give another file.").format(path=path))
    return decode(from_brf(brf), language)
