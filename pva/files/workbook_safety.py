"""What a workbook must not do to its reader: unpack without end, or have its XML multiply.

A workbook is a packed folder of XML files. Nothing in it is ever run, and links to other files are
not followed; what remains is its size once unpacked, and XML that names parts of itself.
"""

from __future__ import annotations

import zipfile
from pathlib import Path
from typing import IO
from xml.parsers import expat

from pva.errors import DataError, Problem

MOST_UNPACKED_BYTES = 500_000_000
MOST_PARTS = 10_000
_CHUNK = 1 << 16


class _TypeDeclared(Exception):  # noqa: N818 - it says what was found
    """The XML declares types or parts of its own."""


def refuse_unsafe(path: Path) -> None:
    """Refuse a workbook that would fill the memory of its reader.

    The size unpacked is what the file says of itself; the unpacking stops there, so a file that
    lies about it is damaged and nothing worse.

    Raises
    ------
    DataError
    """
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
            unpacked = sum(part.file_size for part in parts)
            if unpacked > MOST_UNPACKED_BYTES or len(parts) > MOST_PARTS:
                raise DataError(_too_large(path, unpacked, len(parts)))
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels")):
                    with archive.open(part) as source:
                        _look_at_the_top(source)
    except _TypeDeclared:
        raise DataError(Problem(
            "the workbook declares XML parts of its own, as no spreadsheet program does",
            "Open it in a spreadsheet program and save it again as .xlsx, or do not use it.",
            why="Such parts can multiply until the memory is full", file=str(path),
            code="workbook-unsafe")) from None
    except DataError:
        raise
    except Exception:  # noqa: BLE001 - a damaged archive fails anywhere; the reader says so
        return


def _look_at_the_top(source: IO[bytes]) -> None:
    """Read up to the first element: a declaration of types stands before it or nowhere."""
    parser, begun = expat.ParserCreate(), []

    def declared(*_: object) -> None:
        raise _TypeDeclared

    parser.StartDoctypeDeclHandler = declared
    parser.StartElementHandler = lambda *_: begun.append(True)
    while not begun and (chunk := source.read(_CHUNK)):
        try:
            parser.Parse(chunk, False)
        except expat.ExpatError:
            return


def _too_large(path: Path, unpacked: int, parts: int) -> Problem:
    return Problem(f"the workbook holds {unpacked:,} bytes in {parts:,} parts once unpacked; at "
                   f"most {MOST_UNPACKED_BYTES:,} bytes in {MOST_PARTS:,} parts are read",
                   "Keep the table alone in a workbook, or save it as .csv.", file=str(path),
                   code="workbook-unsafe")
