"""Words that leave the house, against the open standards that they are taken from.

Sources: Darwin Core terms (TDWG, https://dwc.tdwg.org/terms/), term lists of the class Taxon and of its
text guide; GBIF's vocabularies of taxonomicStatus (2022-02-02) and Sex. The lists below were written
down from those pages *from memory*.
"""

import csv
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from inventory.book.models import Sex
from inventory.book.rules.happened import parse_happened
from tests.sources import PROJECT

BACKBONE = PROJECT / "fixtures" / "backbone"
DWC = "http://rs.tdwg.org/dwc/terms/"
TAXON_TERMS = {
    "taxonID", "scientificNameID", "acceptedNameUsageID", "parentNameUsageID", "originalNameUsageID",
    "nameAccordingToID", "namePublishedInID", "taxonConceptID", "scientificName", "acceptedNameUsage",
    "parentNameUsage", "originalNameUsage", "nameAccordingTo", "namePublishedIn", "namePublishedInYear",
    "higherClassification", "kingdom", "phylum", "class", "order", "superfamily", "family", "subfamily",
    "tribe", "subtribe", "genus", "genericName", "subgenus", "infragenericEpithet", "specificEpithet",
    "infraspecificEpithet", "cultivarEpithet", "taxonRank", "verbatimTaxonRank",
    "scientificNameAuthorship", "vernacularName", "nomenclaturalCode", "taxonomicStatus",
    "nomenclaturalStatus", "taxonRemarks",
}  # fmt: skip
TAXONOMIC_STATUS = {
    "accepted", "doubtful", "synonym", "heterotypicSynonym", "homotypicSynonym", "proParteSynonym",
    "misapplied",
}  # fmt: skip
GBIF_SEX = {"male", "female", "hermaphrodite", "undetermined"}


def _terms() -> list[str]:
    return [field.get("term", "") for field in ET.parse(BACKBONE / "meta.xml").iter() if field.get("term")]


def test_every_darwin_core_term_of_the_backbones_archive_is_a_term_of_the_standard() -> None:
    ours = {term.removeprefix(DWC) for term in _terms() if term.startswith(DWC)}
    assert {"scientificName", "acceptedNameUsageID", "taxonomicStatus"} <= ours
    assert ours <= TAXON_TERMS


def test_the_taxonomic_status_of_every_name_is_a_word_of_the_vocabulary() -> None:
    with (BACKBONE / "taxon.csv").open(encoding="utf-8", newline="") as file:
        found = {row["taxonomicStatus"] for row in csv.DictReader(file)}
    assert "accepted" in found
    assert found <= TAXONOMIC_STATUS


def test_the_archive_names_files_that_are_there() -> None:
    """Text guide: a core or extension has its files' locations beside meta.xml."""
    names = [
        element.text or "" for element in ET.parse(BACKBONE / "meta.xml").iter() if "location" in element.tag
    ]
    assert names
    assert all((BACKBONE / Path(name)).is_file() for name in names)


def test_sexes_are_those_of_the_vocabulary_with_undetermined_called_unknown() -> None:
    assert {"undetermined" if sex == Sex.UNKNOWN else sex.value for sex in Sex} == GBIF_SEX


# Darwin Core, term eventDate: examples of the definition that a house's slips can say.
EVENT_DATES = [
    ("1963-03-08", "1963-03-08", "1963-03-08"),
    ("1963-03-08T14:07", "1963-03-08T14:07", "1963-03-08T14:07"),
    ("2007-11-13/15", "2007-11-13", "2007-11-15"),
    ("1996-02-28/03-01", "1996-02-28", "1996-03-01"),
    ("2007-03-01T13:00/2008-05-11T15:30", "2007-03-01T13:00", "2008-05-11T15:30"),
]


@pytest.mark.parametrize(("text", "start", "end"), EVENT_DATES)
def test_an_event_date_reads_as_the_interval_of_iso_8601(text: str, start: str, end: str) -> None:
    """ISO 8601-1:2019, 5.5: start/end, and the end may leave out what it shares with the start."""
    happened = parse_happened(text)
    moments = happened.start.isoformat()[: len(start)], happened.end.isoformat()[: len(end)]
    assert moments == (start, end)


@pytest.mark.parametrize(
    "text",
    ["1906-06", "1971", "1900/1909", "2007-11-15/13", "2007-02-30", "2007-W03-1", "P1Y2M", "13/11/2007"],
)
def test_what_is_no_day_is_refused_with_what_was_expected(text: str) -> None:
    """A month or a year is valid ISO 8601, and too coarse for a book that is kept by the day."""
    with pytest.raises(ValueError, match=r"expected YYYY-MM-DD|before it starts"):
        parse_happened(text)
