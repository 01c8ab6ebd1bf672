"""A Darwin Core archive on disk: three tables, meta.xml, eml.xml, and all of it zipped."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from xml.etree import ElementTree as Xml

from pva.files import csv_text, printable, write_bytes_atomic
from pva.report.exports.darwin_core import DarwinCore, tables_of
from pva.report.exports.darwin_terms import DWC, EVENT, FILES, TEXT_GUIDE
from pva.report.exports.places import Disclosure

ARCHIVE = "darwin-core.zip"
EML = "https://eml.ecoinformatics.org/eml-2.2.0"
NOT_STATED = "not stated; ask the holder of the data"
_CHOSEN = (
    "Units that were dug, whose animals were all entered and used, and in which a species of the "
    "study was not found are absences of it; a unit without an absence says nothing. A tag only "
    "heard is no record of a living animal (vitality uncertain, no count): readers hear tags on "
    "dead shells. Shells are vitality dead, without a count. Releases, host fish and rows set "
    "aside are not in it. Terms are those of Darwin Core.")


def write_darwin_core(folder: Path, found: DarwinCore, *, disclosed: Disclosure, title: str = "",
                      holder: str = "", today: date | None = None) -> list[Path]:
    """Write the archive; every file whole or not at all.

    Parameters
    ----------
    title, holder : str
        Name of the data set and who holds it; neutral words where they may not leave.
    today : date or None
        Day of publication; None = today.
    """
    tables = tables_of(found, disclosed=disclosed)
    texts = {name: csv_text(columns, rows) for name, (columns, rows) in tables.items()}
    texts["meta.xml"] = meta_xml({name: columns for name, (columns, _) in tables.items()})
    texts["eml.xml"] = eml_xml(found, disclosed=disclosed, title=title, holder=holder,
                               today=today or date.today())
    written = [write_bytes_atomic(folder / name, text.encode("utf-8"))
               for name, text in texts.items()]
    return [*written, write_bytes_atomic(folder / ARCHIVE, _zipped(texts))]


def meta_xml(columns: Mapping[str, tuple[str, ...]]) -> str:
    """Which file holds what, and what each column means."""
    top = Xml.Element("archive", {"xmlns": TEXT_GUIDE, "metadata": "eml.xml"})
    for name, kind in FILES.items():
        core = kind == EVENT
        part = Xml.SubElement(top, "core" if core else "extension", {
            "encoding": "UTF-8", "fieldsTerminatedBy": ",", "linesTerminatedBy": "\\n",
            "fieldsEnclosedBy": '"', "ignoreHeaderLines": "1", "rowType": kind})
        Xml.SubElement(Xml.SubElement(part, "files"), "location").text = printable(name)
        Xml.SubElement(part, "id" if core else "coreid", {"index": "0"})
        for place, term in enumerate(columns[name]):
            if core or place:  # the first column of an extension is the id of its event
                Xml.SubElement(part, "field", {"index": str(place), "term": DWC + term})
    return _text(top)


def eml_xml(found: DarwinCore, *, disclosed: Disclosure, title: str, holder: str, today: date
            ) -> str:
    """A short description of the data set in the Ecological Metadata Language."""
    named = title or "Freshwater mussels: surveys, visits and animals found"
    top = Xml.Element("eml:eml", {
        "xmlns:eml": EML, "packageId": f"pva-export-{today.isoformat()}", "system": "pva",
        "xml:lang": "en"})
    data = Xml.SubElement(top, "dataset")
    Xml.SubElement(data, "title").text = printable(named)
    _who(data, "creator", holder)
    Xml.SubElement(data, "pubDate").text = today.isoformat()
    Xml.SubElement(data, "language").text = "en"
    _paragraphs(data, "abstract", [_CHOSEN, *_unplaced(found), *disclosed.words()])
    _paragraphs(data, "intellectualRights", [NOT_STATED])
    _coverage(Xml.SubElement(data, "coverage"), found)
    _who(data, "contact", holder)
    return _text(top)


def _unplaced(found: DarwinCore) -> list[str]:
    if not found.unplaced:
        return []
    return [f"Rows of animals that name no unit listed: {found.unplaced}. They are left out, and a "
            "unit told as blank may be theirs."]


def _who(data, role, holder):
    name = Xml.SubElement(Xml.SubElement(data, role), "organizationName")
    name.text = printable(holder) or NOT_STATED


def _paragraphs(data, name, texts):
    part = Xml.SubElement(data, name)
    for text in texts:
        Xml.SubElement(part, "para").text = text


def _coverage(part, found: DarwinCore) -> None:
    placed = [(e["decimalLatitude"], e["decimalLongitude"], e["coordinateUncertaintyInMeters"])
              for e in found.events if e["decimalLatitude"] is not None]
    if placed:
        where = Xml.SubElement(part, "geographicCoverage")
        Xml.SubElement(where, "geographicDescription").text = (
            f"Box around the points told; each is known to within {max(p[2] for p in placed):,} m.")
        box = Xml.SubElement(where, "boundingCoordinates")
        for name, place, pick in (("west", 1, min), ("east", 1, max), ("north", 0, max),
                                  ("south", 0, min)):
            Xml.SubElement(box, f"{name}BoundingCoordinate").text = str(pick(
                p[place] for p in placed))
    days = sorted(day for e in found.events for day in e["eventDate"].split("/") if day)
    if days:
        span = Xml.SubElement(Xml.SubElement(part, "temporalCoverage"), "rangeOfDates")
        for name, day in (("beginDate", days[0]), ("endDate", days[-1])):
            Xml.SubElement(Xml.SubElement(span, name), "calendarDate").text = day
    taxa = Xml.SubElement(part, "taxonomicCoverage")
    ranks = {o["scientificName"]: o["taxonRank"] for o in found.occurrences}
    for name, rank in sorted(ranks.items()):
        one = Xml.SubElement(taxa, "taxonomicClassification")
        Xml.SubElement(one, "taxonRankName").text = rank
        Xml.SubElement(one, "taxonRankValue").text = printable(name)


def _text(top: Xml.Element) -> str:
    Xml.indent(top)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(top, encoding="unicode") + "\n"


def _zipped(texts: Mapping[str, str]) -> bytes:
    """All files in one; the same texts give the same bytes."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in texts.items():
            archive.writestr(zipfile.ZipInfo(name), text.encode("utf-8"),
                             compress_type=zipfile.ZIP_DEFLATED)
    return stream.getvalue()
