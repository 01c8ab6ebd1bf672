"""Terms of the Darwin Core standard (Biodiversity Information Standards, TDWG) that are used here.

Names, namespaces and row types are written from memory of the open standard and were not read again
for this list; `eventType` and `vitality` are among its later terms. The row type of the table of
measurements is that of the extended measurement-or-fact extension for sampling events (memory).
"""

from __future__ import annotations

STATUS = "memory"
DWC = "http://rs.tdwg.org/dwc/terms/"
TEXT_GUIDE = "http://rs.tdwg.org/dwc/text/"
EVENT = f"{DWC}Event"
OCCURRENCE = f"{DWC}Occurrence"
MEASUREMENT = "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact"

EVENT_TERMS = (
    "eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "sampleSizeValue",
    "sampleSizeUnit", "samplingEffort", "locationID", "locality", "decimalLatitude",
    "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters", "dataGeneralizations",
    "informationWithheld",
)
OCCURRENCE_TERMS = (
    "eventID", "occurrenceID", "basisOfRecord", "scientificName", "taxonRank", "kingdom",
    "occurrenceStatus", "individualCount", "organismID", "vitality", "occurrenceRemarks",
)
EXACT_TERMS = ("decimalLatitude", "decimalLongitude", "geodeticDatum")  # of a single record
MEASUREMENT_TERMS = (
    "eventID", "measurementID", "occurrenceID", "measurementType", "measurementValue",
    "measurementUnit", "measurementRemarks",
)
FILES = {"event.csv": EVENT, "occurrence.csv": OCCURRENCE,
         "extendedmeasurementorfact.csv": MEASUREMENT}
