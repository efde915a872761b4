"""Our Darwin Core Archives, against the lists of the standards that they are written in.

Sources: GBIF's registry of extensions and vocabularies, https://rs.gbif.org, read from its repository
(github gbif/rs.gbif.org at 93c0996, 2026-06-09): core/dwc_occurrence_2025-07-10.xml,
extension/dwc/measurements_or_facts_2025-07-10.xml, extension/ggbn/permit.xml, and of vocabulary/ the files
named beside each list. Each archive is read back whole by python-dwca-reader, which shares no code with the
writer.
"""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from dwca.read import DwCAReader  # type: ignore[import-untyped]

from inventory.permits.files.export import ARCHIVE, export
from inventory.permits.queries.collection_records import CollectionRecords, collection_records
from inventory.permits.rules.darwin_core import (
    DC,
    DWC,
    GGBN,
    LIVING,
    MEASUREMENTS,
    OCCURRENCES,
    PERMITS,
    TABLES,
    outcomes,
)
from tests.permits.house import PermitHouse, a_take, make_permit_house

pytestmark = pytest.mark.django_db

# core/dwc_occurrence_2025-07-10.xml
_LISTED = """
feedbackURL institutionID collectionID datasetID institutionCode collectionCode datasetName
ownerInstitutionCode basisOfRecord informationWithheld dataGeneralizations dynamicProperties occurrenceID
catalogNumber recordNumber recordedBy recordedByID individualCount organismQuantity organismQuantityType
sex lifeStage reproductiveCondition caste behavior vitality establishmentMeans degreeOfEstablishment
pathway georeferenceVerificationStatus occurrenceStatus associatedMedia associatedOccurrences
associatedReferences associatedTaxa otherCatalogNumbers occurrenceRemarks organismID organismName
organismScope associatedOrganisms previousIdentifications organismRemarks causeOfDeath materialEntityID
digitalSpecimenID materialEntityType discipline preparations disposition verbatimLabel associatedSequences
materialEntityRemarks materialSampleID eventID parentEventID eventType projectTitle projectID
fundingAttributionID fieldNumber eventDate eventTime startDayOfYear endDayOfYear year month day
verbatimEventDate habitat samplingProtocol sampleSizeValue sampleSizeUnit samplingEffort fieldNotes
eventRemarks locationID higherGeographyID higherGeography continent waterBody islandGroup island country
countryCode stateProvince county municipality locality verbatimLocality minimumElevationInMeters
maximumElevationInMeters verbatimElevation verticalDatum minimumDepthInMeters maximumDepthInMeters
verbatimDepth minimumDistanceAboveSurfaceInMeters maximumDistanceAboveSurfaceInMeters locationAccordingTo
locationRemarks decimalLatitude decimalLongitude geodeticDatum coordinateUncertaintyInMeters
coordinatePrecision pointRadiusSpatialFit verbatimCoordinates verbatimLatitude verbatimLongitude
verbatimCoordinateSystem verbatimSRS footprintWKT footprintSRS footprintSpatialFit georeferencedBy
georeferencedDate georeferenceProtocol georeferenceSources georeferenceRemarks geologicalContextID
earliestEonOrLowestEonothem latestEonOrHighestEonothem earliestEraOrLowestErathem
latestEraOrHighestErathem earliestPeriodOrLowestSystem latestPeriodOrHighestSystem
earliestEpochOrLowestSeries latestEpochOrHighestSeries earliestAgeOrLowestStage latestAgeOrHighestStage
lowestBiostratigraphicZone highestBiostratigraphicZone lithostratigraphicTerms group formation member bed
identificationID verbatimIdentification identificationQualifier typeStatus typifiedName identifiedBy
identifiedByID dateIdentified identificationReferences identificationVerificationStatus
identificationRemarks taxonID scientificNameID acceptedNameUsageID parentNameUsageID originalNameUsageID
nameAccordingToID namePublishedInID taxonConceptID scientificName acceptedNameUsage parentNameUsage
originalNameUsage nameAccordingTo namePublishedIn namePublishedInYear higherClassification kingdom phylum
class order superfamily family subfamily tribe subtribe genus genericName subgenus infragenericEpithet
specificEpithet infraspecificEpithet cultivarEpithet taxonRank verbatimTaxonRank scientificNameAuthorship
vernacularName nomenclaturalCode taxonomicStatus nomenclaturalStatus taxonRemarks
"""
OCCURRENCE_TERMS = set(_LISTED.split())
# The same file, of Dublin Core.
DUBLIN_CORE_TERMS = {
    "modified",
    "license",
    "rightsHolder",
    "accessRights",
    "bibliographicCitation",
    "references",
}
# extension/dwc/measurements_or_facts_2025-07-10.xml
MEASUREMENT_TERMS = {
    "measurementID", "parentMeasurementID", "measurementType", "verbatimMeasurementType", "measurementValue",
    "measurementAccuracy", "measurementUnit", "measurementDeterminedBy", "measurementDeterminedDate",
    "measurementMethod", "measurementRemarks",
}  # fmt: skip
# extension/ggbn/permit.xml; the first three are required.
PERMIT_TERMS = {"permitType", "permitStatus", "permitStatusQualifier", "permitURI", "permitText"}
PERMIT_REQUIRED = {"permitType", "permitStatus", "permitStatusQualifier"}
VOCABULARIES = {
    # vocabulary/dwc/basis_of_record_2024-02-19.xml
    DWC + "basisOfRecord": {
        "PreservedSpecimen", "FossilSpecimen", "LivingSpecimen", "HumanObservation", "MachineObservation",
        "MaterialEntity", "MaterialSample", "Occurrence", "MaterialCitation",
    },
    # vocabulary/gbif/sex.xml
    DWC + "sex": {"male", "female", "hermaphrodite", "undetermined"},
    # vocabulary/gbif/life_stage.xml
    DWC + "lifeStage": {
        "zygote", "embryo", "larva", "juvenile", "adult", "sporophyte", "spore", "gametophyte", "gamete",
        "pupa",
    },
    # vocabulary/gbif/quantity_type_2023-02-28.xml
    DWC + "organismQuantityType": {
        "percentageOfSpecies", "percentageOfBiovolume", "percentageOfBiomass", "percentageCoverage",
        "individuals", "dominScale", "braunBlanquetScale", "biomassAFDG", "biomassG", "biomassKg",
        "biovolumeCubicMicrons",
        "biovolumeMl", "dnaSequenceReads",
    },
    # vocabulary/gbif/occurrence_status_2020-07-15.xml
    DWC + "occurrenceStatus": {"present", "absent"},
    # vocabulary/dwc/establishment_means_2025-07-10.xml
    DWC + "establishmentMeans": {
        "native", "nativeReintroduced", "introduced", "introducedAssistedColonisation", "vagrant",
        "uncertain", "nativeEndemic",
    },
    # vocabulary/ggbn/permit_type.xml
    GGBN + "permitType": {
        "Collecting Permit", "Import Permit", "Export Permit", "Intellectual Property Rights", "Copyright",
        "Patent", "Data Use", "Phytosanitary", "Salvage", "Exemption Permit", "Material Transfer Agreement",
        "Internationally Recognized Certificate of Compliance", "Contract", "Memorandum of Understanding",
        "Memorandum of Cooperation", "Veterinary Certificate", "Human Pathogens",
        "Genetically Modified Organism", "Other",
    },
    # vocabulary/ggbn/permit_status.xml
    GGBN + "permitStatus": {"Permit available", "Permit not required", "Permit not available", "Unknown"},
}  # fmt: skip
# The definition of vitality gives these as examples (Darwin Core quick reference).
VITALITY = {"alive", "dead", "mixedLot", "uncertain", "notAssessed"}


@pytest.fixture
def house(db: None) -> PermitHouse:
    """Takes of every kind: sexes, stages, pieces, an open name, let go, dead, by-catch, a day too late."""
    house = make_permit_house()
    house.record(
        a_take("two-spotted goby", 4, let_go=1, died=2, size_mm=45, sex="male", stage="adult"),
        a_take("Homarus gammarus", 1, berried=False, sex="female", individual=True),
        a_take("Corynactis viridis", 2, unit="piece", into_stock=60, remarks="=SUM(A1)\tand\nmore"),
        a_take("shore crab", 2, bycatch=True, sex="unknown", stage="young"),
        depth_from_m=Decimal("3.0"),
        depth_to_m=Decimal("8.5"),
        uncertainty_m=100,
    )
    house.record(a_take("Asterias rubens", let_go=3, stage="with regrown arm"), happened="2026-10-01")
    house.record(a_take("some worm, no name yet", let_go=1), happened="2026-09-02/2026-09-03")
    return house


@pytest.fixture
def found(house: PermitHouse) -> CollectionRecords:
    """All of it, exact."""
    return read(house)


def read(house: PermitHouse, *, coarse: bool = False) -> CollectionRecords:
    return collection_records(house.permit, as_of=date(2026, 10, 6), zone=house.zone, coarse=coarse)


@pytest.fixture
def opened(found: CollectionRecords, tmp_path: Path) -> Any:
    """The archive as the other library reads it."""
    path = tmp_path / "records.zip"
    path.write_bytes(export(found, ARCHIVE))
    with DwCAReader(path) as archive:
        yield archive


def test_every_term_is_one_of_the_standard() -> None:
    terms = {table: set(table.terms) for table in TABLES}
    allowed = {
        OCCURRENCES: {DWC + term for term in OCCURRENCE_TERMS} | {DC + term for term in DUBLIN_CORE_TERMS},
        PERMITS: {GGBN + term for term in PERMIT_TERMS},
        MEASUREMENTS: {DWC + term for term in MEASUREMENT_TERMS},
    }
    assert {table.file: terms[table] - allowed[table] for table in TABLES} == {
        table.file: set() for table in TABLES
    }
    assert {GGBN + term for term in PERMIT_REQUIRED} <= terms[PERMITS]
    assert [len(set(table.terms)) for table in TABLES] == [len(table.terms) for table in TABLES]


def test_the_row_types_are_those_of_the_registry(opened: Any) -> None:
    assert opened.descriptor.core.type == "http://rs.tdwg.org/dwc/terms/Occurrence"
    assert set(opened.descriptor.extensions_type) == {
        "http://data.ggbn.org/schemas/ggbn/terms/Permit",
        "http://rs.tdwg.org/dwc/terms/MeasurementOrFact",
    }


def test_every_controlled_value_is_one_of_its_vocabulary(opened: Any) -> None:
    seen: dict[str, set[str]] = {term: set() for term in VOCABULARIES}
    for row in opened:
        for data in (row.data, *(extension.data for extension in row.extensions)):
            for term, value in data.items():
                if term in seen and value:
                    seen[term].add(value)
        assert row.data[DWC + "vitality"] in VITALITY
    assert {term: seen[term] - VOCABULARIES[term] for term in seen} == {term: set() for term in seen}
    assert all(seen.values()), "every vocabulary is made use of"
    assert seen[DWC + "sex"] == {"male", "female", "undetermined"}
    assert seen[DWC + "lifeStage"] == {"adult", "juvenile"}
    assert seen[GGBN + "permitStatus"] == {"Permit available", "Permit not available"}


def test_the_archive_is_read_back_whole(opened: Any, found: CollectionRecords) -> None:
    rows = {row.id: row for row in opened.rows}
    wanted = [(record, outcome) for record in found.records for outcome in outcomes(record)]
    assert len(rows) == len(wanted) == len(opened.rows)
    assert opened.orphaned_extension_rows() == {PERMITS.file: {}, MEASUREMENTS.file: {}}
    for record, outcome in wanted:
        row = rows[f"{record.take}#{outcome.code}"]
        data = row.data
        assert data[DWC + "occurrenceID"] == row.id
        assert data[DWC + "verbatimIdentification"] == record.verbatim
        assert data[DWC + "scientificName"] == record.name.scientific_name
        assert data[DWC + "eventDate"] == record.happened
        assert data[DWC + "decimalLatitude"] == "60.5"
        assert data[DWC + "decimalLongitude"] == "-4.5"
        assert data[DWC + "locality"] == "off the point"
        [permit] = [one for one in row.extensions if one.rowtype == PERMITS.row_type]
        assert permit.data[GGBN + "permitText"].startswith("TEST 1, The Board; ")
        assert record.permit.words in permit.data[GGBN + "permitText"]


def test_individuals_add_up_to_what_was_caught(opened: Any, found: CollectionRecords) -> None:
    """Pieces are not animals; of those kept the animals in the stock are counted."""
    total = sum(int(row.data[DWC + "individualCount"] or 0) for row in opened)
    pieces = [record for record in found.records if record.unit == "piece"]
    assert [(record.kept, record.into_stock) for record in pieces] == [(2, 60)]
    assert total == sum(record.caught for record in found.records) - 2 + 60
    for row in opened:
        assert bool(row.data[DWC + "organismQuantity"]) == bool(row.data[DWC + "organismQuantityType"])


def test_only_what_was_kept_is_a_living_specimen(opened: Any) -> None:
    for row in opened:
        kept = row.id.endswith("#kept")
        assert (row.data[DWC + "basisOfRecord"] == LIVING) == kept
        assert bool(row.data[DWC + "organismID"]) == kept
        assert bool(row.data[DWC + "disposition"]) == kept


def test_sizes_pieces_and_by_catch_stand_as_measurements(opened: Any) -> None:
    facts = {
        (row.data[DWC + "verbatimIdentification"], row.id.rpartition("#")[2]): {
            (
                f.data[DWC + "measurementType"],
                f.data[DWC + "measurementValue"],
                f.data[DWC + "measurementUnit"],
            )
            for f in row.extensions
            if f.rowtype == MEASUREMENTS.row_type
        }
        for row in opened
    }
    assert facts["two-spotted goby", "died"] == {("size", "45", "mm"), ("by-catch", "no", "")}
    assert ("number", "2", "piece") in facts["Corynactis viridis", "kept"]
    assert facts["shore crab", "kept"] == {("by-catch", "yes", "")}


def test_an_interval_of_days_is_written_as_iso_8601_has_it(opened: Any) -> None:
    assert {row.data[DWC + "eventDate"] for row in opened} == {
        *("2026-09-01", "2026-10-01", "2026-09-02/2026-09-03"),
    }


def test_line_breaks_and_tabs_inside_a_cell_break_no_row(opened: Any) -> None:
    remarks = [row.data[DWC + "occurrenceRemarks"] for row in opened if "SUM" in str(row.data)]
    assert remarks == ["counted as 2 piece | =SUM(A1) and more"]


def test_coarse_coordinates_hold_the_true_place_and_are_said_to_be_coarse(
    house: PermitHouse, tmp_path: Path
) -> None:
    path = tmp_path / "coarse.zip"
    path.write_bytes(export(read(house, coarse=True), ARCHIVE))
    with DwCAReader(path) as archive:
        eml = archive.metadata
        for row in archive:
            assert row.data[DWC + "dataGeneralizations"].startswith("Coordinates rounded to 0.1 degree")
            assert row.data[DWC + "informationWithheld"]
            assert row.data[DWC + "locality"] == ""
            assert int(row.data[DWC + "coordinateUncertaintyInMeters"]) >= 6_200
    assert eml is not None
    assert "Coordinates rounded to 0.1 degree" in "".join(eml.itertext())


def test_the_same_records_give_the_same_bytes(found: CollectionRecords, house: PermitHouse) -> None:
    assert export(found, ARCHIVE) == export(read(house), ARCHIVE)
    fewer = replace(found, records=found.records[1:])
    assert export(fewer, ARCHIVE) != export(found, ARCHIVE)


def test_nothing_taken_is_an_archive_of_no_rows(tmp_path: Path, db: None) -> None:
    path = tmp_path / "nothing.zip"
    path.write_bytes(export(read(make_permit_house()), ARCHIVE))
    with DwCAReader(path) as archive:
        assert archive.rows == []
