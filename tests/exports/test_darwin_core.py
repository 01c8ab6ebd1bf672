"""The Darwin Core archive: ids, links, absences, kinds of records, XML, and what is withheld."""

from __future__ import annotations

import csv
import io
import zipfile
from datetime import date
from xml.etree import ElementTree as Xml

import pytest

from pva.field import read_records, read_study
from pva.report.exports import darwin_terms
from pva.report.exports.darwin_core import darwin_core, organism_code
from pva.report.exports.darwin_events import id_part
from pva.report.exports.darwin_files import ARCHIVE, write_darwin_core
from pva.report.exports.places import Disclosure
from tests.exports.conftest import ANIMALS, ENCOUNTERS, UNITS
from tests.field.conftest import STUDY, write_study

TEXT = "{http://rs.tdwg.org/dwc/text/}"
# Spelled here once more, from memory of the standard, apart from the list of the code.
KNOWN_TERMS = set("""
eventID parentEventID eventType eventDate samplingProtocol sampleSizeValue sampleSizeUnit
samplingEffort locationID locality decimalLatitude decimalLongitude geodeticDatum
coordinateUncertaintyInMeters dataGeneralizations informationWithheld occurrenceID basisOfRecord
scientificName taxonRank kingdom occurrenceStatus individualCount organismID vitality
occurrenceRemarks measurementID measurementType measurementValue measurementUnit measurementRemarks
""".split())


def written(small, folder, **asked):
    study, records = small
    disclosed = Disclosure(**asked)
    write_darwin_core(folder, darwin_core(study, records, disclosed=disclosed),
                      disclosed=disclosed, today=date(2027, 1, 1))
    return folder


def rows(folder, name):
    with (folder / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


@pytest.fixture(scope="module")
def archive(small, tmp_path_factory):
    return written(small, tmp_path_factory.mktemp("archive"))


@pytest.fixture(scope="module")
def tables(archive):
    return {name.split(".")[0]: rows(archive, name) for name in darwin_terms.FILES}


def test_ids_are_unique_and_every_link_leads_somewhere(tables):
    events = [e["eventID"] for e in tables["event"]]
    occurrences = [o["occurrenceID"] for o in tables["occurrence"]]
    facts = [m["measurementID"] for m in tables["extendedmeasurementorfact"]]
    for ids in (events, occurrences, facts):
        assert len(ids) == len(set(ids)) and all(ids)
    place = {e: i for i, e in enumerate(events)}
    for event in tables["event"]:
        if event["parentEventID"]:
            assert place[event["parentEventID"]] < place[event["eventID"]]
    of = {o["occurrenceID"]: o["eventID"] for o in tables["occurrence"]}
    assert {o["eventID"] for o in tables["occurrence"]} <= set(events)
    for fact in tables["extendedmeasurementorfact"]:
        assert fact["eventID"] in place
        if fact["occurrenceID"]:
            assert of[fact["occurrenceID"]] == fact["eventID"]


def test_surveys_hold_transects_hold_units_with_their_sizes(tables):
    units = {e["eventID"]: e for e in tables["event"] if e["eventType"] == "Unit"}
    assert len(units) == 4
    first = units["survey:2019:site-1:unit:Q1"]
    assert (first["parentEventID"], first["sampleSizeValue"], first["sampleSizeUnit"]) == (
        "survey:2019:site-1:transect:1", "0.25", "square metre")
    assert first["samplingProtocol"] == "quadrat, excavated to 15 cm, sieve of 6 mm"
    assert first["eventDate"] == "2019-09-11"
    odd = units[f"survey:2019:site-1:unit:{id_part('Q 3')}"]
    assert odd["samplingProtocol"] == "quadrat, surface only"
    # without a transect the unit belongs to its survey
    assert units["survey:2019:site-2:unit:Q1"]["parentEventID"] == "survey:2019:site-2"
    survey = next(e for e in tables["event"] if e["eventID"] == "survey:2019:site-1")
    assert (survey["sampleSizeValue"], survey["eventDate"], survey["samplingEffort"]) == (
        "0.75", "2019-09-11/2019-09-12", "3 units")


def test_blank_units_are_absences_of_every_species_and_counts_add_up(tables):
    found = {}
    for o in tables["occurrence"]:
        if ":unit:" in o["eventID"]:
            unit = o["eventID"].removeprefix("survey:2019:")
            found.setdefault((unit, o["scientificName"]), []).append(
                (o["occurrenceStatus"], o["individualCount"], o["vitality"]))
    blank = [("absent", "0", "")]
    assert found == {
        ("site-1:unit:Q1", "Lampsilis ficta"): [("present", "1", "alive"),
                                                ("present", "2", "alive")],
        ("site-1:unit:Q1", "Elliptio ficta"): blank,
        ("site-1:unit:Q2", "Lampsilis ficta"): [("present", "", "dead")],
        ("site-1:unit:Q2", "Elliptio ficta"): blank,
        # q3 was looked at on the surface alone: nothing is said to be absent
        ("site-2:unit:Q1", "Lampsilis ficta"): blank, ("site-2:unit:Q1", "Elliptio ficta"): blank}
    alive = {(m["eventID"].removeprefix("survey:2019:"), m["measurementRemarks"]):
             m["measurementValue"] for m in tables["extendedmeasurementorfact"]
             if m["measurementType"] == "living animals found"}
    assert len(alive) == 8
    assert {k: v for k, v in alive.items() if v != "0"} == {
        ("site-1:unit:Q1", "Lampsilis ficta"): "3"}


def absences(study, records):
    found = darwin_core(study, records, disclosed=Disclosure())
    return {(o["eventID"].rpartition(":site-")[2], o["scientificName"]) for o in found.occurrences
            if o["occurrenceStatus"] == "absent"}


def of_study(folder, units=UNITS, animals=ANIMALS):
    """Study and records with other tables of units and animals (None = no table)."""
    tables = {"units.csv": units, "animals.csv": animals, "encounters.csv": ENCOUNTERS}
    listed = [t for t in STUDY["tables"] if tables.get(t["file"], "") is not None]
    study = read_study(write_study(folder / "study", {
        k: v for k, v in tables.items() if v is not None}, tables=listed))
    return study, read_records(study)


def test_no_absence_where_nobody_listed_animals(tmp_path):
    header = ANIMALS.splitlines()[0] + "\n"
    assert not absences(*of_study(tmp_path / "none", animals=None))
    # the header alone says that none were found
    assert len(absences(*of_study(tmp_path / "header", animals=header))) == 6
    # animals of another survey say nothing of this one
    both = UNITS + "2020,Tallow Bend,2020-09-13,,R1,0.5,yes,15,6\n"
    assert not [a for a in absences(*of_study(tmp_path / "other", units=both)) if "R1" in a[0]]


def test_no_absence_where_an_animal_of_the_unit_was_set_aside(tmp_path):
    """Its species is not of the study; the unit is not blank, whatever it held."""
    lost = ANIMALS + "2019,Tallow Bend,Q1,Lampsilis ficta,47.0,perhaps,,1\n"
    study, records = of_study(tmp_path, animals=lost)
    assert records.account.totals["set_aside"] == 1
    assert absences(study, records) == {("1:unit:Q2", "Elliptio ficta")}
    found = darwin_core(study, records, disclosed=Disclosure())
    assert not [m for m in found.measurements if m["measurementType"] == "living animals found"
                and ":unit:Q1" in m["eventID"]]


def test_no_absence_where_the_crew_counted_more_animals_than_were_entered(tmp_path):
    counts = ["animals_found", "3", "1", "", "1"]
    lost = "".join(f"{line},{n}\n" for line, n in zip(UNITS.splitlines(), counts, strict=True))
    study, records = of_study(tmp_path, units=lost)
    assert records.account.totals["flagged"] == 1
    every = absences(*of_study(tmp_path / "all"))
    assert absences(study, records) == {a for a in every if a[0] != "2:unit:Q1"} != every


def test_animals_that_name_no_unit_are_told_beside_the_absences(tmp_path):
    lost = ANIMALS + "2019,Tallow Bend,Z9,Lampsilis ficta,47.0,alive,,1\n"
    found = darwin_core(*of_study(tmp_path, animals=lost), disclosed=Disclosure())
    assert found.unplaced == 1
    write_darwin_core(tmp_path / "out", found, disclosed=Disclosure())
    assert "Rows of animals that name no unit listed: 1." in (
        tmp_path / "out" / "eml.xml").read_text(encoding="utf-8")


def test_no_absence_beside_an_animal_nobody_named(tmp_path):
    unnamed = ANIMALS + "2019,Tallow Bend,Q1,,47.0,alive,,1\n"
    assert not [a for a in absences(*of_study(tmp_path, animals=unnamed)) if a[0] == "2:unit:Q1"]


def test_names_of_the_crew_that_tell_a_place_are_numbers(tmp_path):
    units = (UNITS.replace("2019,Quill", "Quillstone 2019,Quill")
             .replace(",Q2,", ",45.4531 -93.2684,").replace(",2,Q 3", ",512345 E 4812345 N,Q 3"))
    animals = ANIMALS.replace("2019,Quill", "Quillstone 2019,Quill").replace(
        ",Q2,", ",45.4531 -93.2684,")
    study, records = of_study(tmp_path, units=units, animals=animals)
    written((study, records), tmp_path / "shut")
    text = "".join((tmp_path / "shut" / name).read_text(encoding="utf-8")
                   for name in darwin_terms.FILES)
    for secret in ("Quillstone", "quillstone", "4531", "2684", "512345", "4812345"):
        assert secret not in text
    assert "withheld-3" in text and "withheld-4" not in text
    ids = [e["eventID"] for e in rows(tmp_path / "shut", "event.csv")]
    assert len(set(ids)) == len(ids)
    written((study, records), tmp_path / "open", site_names=True, exact_places=True)
    assert "withheld-" not in (tmp_path / "open" / "event.csv").read_text(encoding="utf-8")


def test_heard_only_is_no_record_of_a_living_animal(tables):
    seen = [o for o in tables["occurrence"] if o["eventID"].startswith("visit:")]
    by_vitality = {}
    for o in seen:
        by_vitality.setdefault(o["vitality"], []).append(o)
    heard, = by_vitality["uncertain"]
    assert (heard["basisOfRecord"], heard["individualCount"]) == ("MachineObservation", "")
    assert "No record of a living animal" in heard["occurrenceRemarks"]
    shell, = by_vitality["dead"]
    assert (shell["basisOfRecord"], shell["individualCount"]) == ("HumanObservation", "")
    assert shell["organismID"] == heard["organismID"] == organism_code("982000987654321")
    assert {o["individualCount"] for o in by_vitality["alive"]} == {"1"}
    assert len(by_vitality["alive"]) == 4  # two lengths of one animal on one day are one record
    assert shell["eventID"] == "visit:2021-08:site-1:2021-08-18"


def test_lengths_and_marks_are_measurements(tables):
    facts = tables["extendedmeasurementorfact"]
    animal = organism_code("982000411223344")
    lengths = sorted(m["measurementValue"] for m in facts if m["measurementType"] == "shell length"
                     and m["occurrenceID"].startswith("visit:2019-09:site-1")
                     and animal in m["occurrenceID"])
    assert lengths == ["44.5", "44.9"]
    units = {m["measurementUnit"] for m in facts if m["measurementType"] == "shell length"}
    marks = [m["measurementValue"] for m in facts if m["measurementType"] == "batch mark"]
    assert (units, marks) == ({"mm"}, ["white"])


def test_nothing_secret_leaves_by_default(archive):
    for file in archive.glob("*.*ml"), archive.glob("*.csv"):
        for one in file:
            text = one.read_text(encoding="utf-8")
            for secret in ("Quillstone", "Tallow", "Secret River", "0.4535", "0.453", "3.2675",
                           "982000411223344", "in shade", "BAD"):
                assert secret not in text, (one.name, secret)
    event = rows(archive, "event.csv")[0]
    assert (event["decimalLatitude"], event["decimalLongitude"]) == ("0.5", "-3.3")
    assert event["coordinateUncertaintyInMeters"] == "8000"
    assert "nearest 0.1 degree" in event["dataGeneralizations"]
    assert "Names of people" in event["informationWithheld"]


def test_exact_places_and_names_only_when_asked(small, tmp_path):
    folder = written(small, tmp_path, exact_places=True, site_names=True)
    event = rows(folder, "event.csv")[0]
    assert float(event["decimalLatitude"]) == pytest.approx(0.4535)
    assert (event["locality"], event["dataGeneralizations"]) == ("Quillstone Riffle", "")
    placed = [o for o in rows(folder, "occurrence.csv") if o["decimalLatitude"]]
    assert [(o["decimalLatitude"], o["decimalLongitude"]) for o in placed] == [
        ("0.4535", "-3.2675")]
    assert "EXACT PLACES" in (folder / "eml.xml").read_text(encoding="utf-8")


def test_meta_names_every_column_of_every_file_with_terms_of_the_standard(archive):
    top = Xml.parse(archive / "meta.xml").getroot()
    assert top.tag == f"{TEXT}archive" and top.get("metadata") == "eml.xml"
    parts = list(top)
    assert [p.tag.removeprefix(TEXT) for p in parts] == ["core", "extension", "extension"]
    for part in parts:
        name = part.find(f"{TEXT}files/{TEXT}location").text
        assert part.get("rowType") == darwin_terms.FILES[name]
        with (archive / name).open(encoding="utf-8", newline="") as handle:
            header = next(csv.reader(handle))
        named = {int(f.get("index")): f.get("term") for f in part.findall(f"{TEXT}field")}
        start = 0 if part.tag.endswith("core") else 1
        assert {i: t.rpartition("/")[2] for i, t in named.items()} == dict(
            list(enumerate(header))[start:])
        assert all(t.startswith(darwin_terms.DWC) for t in named.values())
        assert set(header) <= KNOWN_TERMS and len(set(header)) == len(header)
        key = part.find(f"{TEXT}id" if start == 0 else f"{TEXT}coreid")
        assert header[int(key.get("index"))] == "eventID"


def test_the_zip_holds_the_same_files_and_is_the_same_every_time(small, archive, tmp_path):
    with zipfile.ZipFile(io.BytesIO((archive / ARCHIVE).read_bytes())) as packed:
        assert packed.testzip() is None
        assert sorted(packed.namelist()) == sorted(
            f.name for f in archive.iterdir() if f.name != ARCHIVE)
        for name in packed.namelist():
            assert packed.read(name) == (archive / name).read_bytes()
    assert (written(small, tmp_path) / ARCHIVE).read_bytes() == (archive / ARCHIVE).read_bytes()


def test_ids_stay_when_rows_come_in_another_order(small, tables):
    study, records = small
    turned = type(records)(**{**vars(records), "units": records.units[::-1],
                              "encounters": records.encounters[::-1]})
    found = darwin_core(study, turned, disclosed=Disclosure())
    assert {e["eventID"] for e in found.events} == {e["eventID"] for e in tables["event"]}
    assert {o["occurrenceID"] for o in found.occurrences} == {
        o["occurrenceID"] for o in tables["occurrence"]}


def test_eml_is_well_formed_whatever_is_given(small, tmp_path):
    study, records = small
    found = darwin_core(study, records, disclosed=Disclosure())
    write_darwin_core(tmp_path, found, disclosed=Disclosure(), title="A & <b>\x07", holder="C & D")
    data = Xml.parse(tmp_path / "eml.xml").getroot().find("dataset")
    assert data.find("title").text == "A & <b>"
    assert data.find("creator/organizationName").text == "C & D"
    assert data.find("coverage/temporalCoverage/rangeOfDates/beginDate/calendarDate").text == \
        "2019-09-10"


def test_ids_of_names_that_differ_by_a_sign_stay_apart():
    names = ["Q 3", "Q/3", "Q-3", "Q3", "Q.3", "\u00fcber", "\u00e4ber", "..", ""]
    assert len({id_part(n) for n in names}) == len(names)
