"""Collection records as Darwin Core: terms, controlled values, and the rows of an archive's files.

**Occurrence core, not event core.** In an archive an extension can only point to the core (Darwin Core text
guide). Permit lines and sizes belong to the animals taken, and one trip can serve two permits, so the core
is the occurrence and each row repeats its event. A take becomes one occurrence for each thing that became
of the animals: kept, let go, died.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from .collection_records import JOINED, Position, Record, stocked

DWC = "http://rs.tdwg.org/dwc/terms/"
DC = "http://purl.org/dc/terms/"
GGBN = "http://data.ggbn.org/schemas/ggbn/terms/"

ANIMAL = "animal"
SEXES = {"male": "male", "female": "female", "hermaphrodite": "hermaphrodite", "unknown": "undetermined"}
LIFE_STAGES = ("zygote", "embryo", "larva", "juvenile", "adult")
# What the house writes of a stage, in the word of the vocabulary.
_STAGES = {stage: stage for stage in LIFE_STAGES} | {"young": "juvenile"}
_PERMIT_TYPES = {"collecting": "Collecting Permit", "salvage": "Salvage"}
LIVING, SEEN = "LivingSpecimen", "HumanObservation"


class Table(NamedTuple):
    """One file of an archive: what its rows are, and the terms of its columns after the first, which is
    the identifier of the core's row."""

    file: str
    row_type: str
    terms: Sequence[str]


OCCURRENCES = Table(
    "occurrence.txt",
    DWC + "Occurrence",
    (
        DC + "modified",
        *(
            DWC + term
            for term in (
                *("institutionCode", "datasetName", "basisOfRecord", "informationWithheld"),
                *("dataGeneralizations", "occurrenceID", "recordedBy", "individualCount"),
                *("organismQuantity", "organismQuantityType", "sex", "lifeStage", "reproductiveCondition"),
                *("vitality", "establishmentMeans", "occurrenceStatus", "occurrenceRemarks", "organismID"),
                *("disposition", "eventID", "eventDate", "samplingProtocol", "locality"),
                *("decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters"),
                "georeferenceVerificationStatus",
                *("minimumDepthInMeters", "maximumDepthInMeters", "verbatimIdentification"),
                *("identificationQualifier", "taxonID", "scientificName", "nameAccordingTo", "kingdom"),
                *("phylum", "class", "order", "family", "genus", "taxonRank", "scientificNameAuthorship"),
            )
        ),
    ),
)
PERMITS = Table(
    "permit.txt",
    GGBN + "Permit",
    tuple(GGBN + term for term in ("permitType", "permitStatus", "permitStatusQualifier", "permitText")),
)
MEASUREMENTS = Table(
    "measurement.txt",
    DWC + "MeasurementOrFact",
    tuple(DWC + term for term in ("measurementID", "measurementType", "measurementValue", "measurementUnit")),
)
TABLES = (OCCURRENCES, PERMITS, MEASUREMENTS)
Cells = Sequence[str]


class Outcome(NamedTuple):
    """What became of some of the animals of a take."""

    code: str
    basis: str
    vitality: str
    n: int
    words: str


def outcomes(record: Record) -> list[Outcome]:
    """Those of one take that have animals; together they are all that was caught."""
    every = (
        Outcome("kept", LIVING, "alive", record.kept, ""),
        Outcome("let-go", SEEN, "alive", record.let_go, "let go alive"),
        Outcome("died", SEEN, "dead", record.died, "died before it entered the collection"),
    )
    return [outcome for outcome in every if outcome.n]


def identifier(record: Record, outcome: Outcome) -> str:
    """The same for the same animals, also after a correction of their numbers."""
    return f"{record.take}#{outcome.code}"


def occurrence_rows(records: Sequence[Record], *, house: str, dataset: str) -> Iterator[Cells]:
    """The rows of :data:`OCCURRENCES`."""
    for record in records:
        for outcome in outcomes(record):
            told = _occurrence(record, outcome, house, dataset)
            yield (told["occurrenceID"], *(told[term.rpartition("/")[2]] for term in OCCURRENCES.terms))


def _occurrence(record: Record, outcome: Outcome, house: str, dataset: str) -> dict[str, str]:
    position, name = record.position, record.name
    n = _individuals(record, outcome)
    return {
        "modified": record.entered_at.isoformat(timespec="seconds"),
        "institutionCode": house,
        "datasetName": dataset,
        "basisOfRecord": outcome.basis,
        "informationWithheld": position.withheld,
        "dataGeneralizations": position.generalised,
        "occurrenceID": identifier(record, outcome),
        "recordedBy": JOINED.join(record.people),
        "individualCount": _text(n),
        # The two go in pairs, and the vocabulary has no word for colonies or pieces.
        "organismQuantity": _text(n),
        "organismQuantityType": "" if n is None else "individuals",
        "sex": SEXES.get(record.sex, ""),
        "lifeStage": _STAGES.get(record.stage.casefold(), ""),
        "reproductiveCondition": {True: "berried", False: "not berried", None: ""}[record.berried],
        "vitality": outcome.vitality,
        "establishmentMeans": _establishment(record),
        "occurrenceStatus": "present",
        "occurrenceRemarks": JOINED.join(_remarks(record, outcome)),
        "organismID": record.lot if outcome.basis == LIVING else "",
        "disposition": record.disposition if outcome.basis == LIVING else "",
        "eventID": record.trip,
        "eventDate": record.happened,
        "samplingProtocol": record.gear,
        "locality": position.locality,
        "decimalLatitude": _text(position.latitude),
        "decimalLongitude": _text(position.longitude),
        "geodeticDatum": position.datum if position.latitude is not None else "",
        "coordinateUncertaintyInMeters": _text(position.uncertainty_m or None),
        "georeferenceVerificationStatus": _verification(position),
        "minimumDepthInMeters": _text(record.depth_from_m),
        "maximumDepthInMeters": _text(record.depth_to_m),
        "verbatimIdentification": record.verbatim,
        "identificationQualifier": record.qualifier,
        "taxonID": name.taxon_id,
        "scientificName": name.scientific_name,
        "nameAccordingTo": record.release if name.scientific_name else "",
        "kingdom": name.kingdom,
        "phylum": name.phylum,
        "class": name.class_name,
        "order": name.order,
        "family": name.family,
        "genus": name.genus,
        "taxonRank": name.rank,
        "scientificNameAuthorship": name.authorship,
    }


def _verification(position: Position) -> str:
    """In the words of Darwin Core's examples; nothing of positions that nobody doubts."""
    if not position.doubtful:
        return ""
    return "requires georeference" if position.latitude is None else "requires verification"


def _individuals(record: Record, outcome: Outcome) -> int | None:
    """How many animals these are; None where they were not counted in animals."""
    if outcome.basis == LIVING and record.stock_unit == ANIMAL:
        return stocked(record)
    return outcome.n if record.unit == ANIMAL else None


def _establishment(record: Record) -> str:
    """Native where it was caught, unless a list in use names it as non-native; not said of open names."""
    if not record.name.scientific_name:
        return ""
    return "introduced" if record.name.introduced else "native"


def _remarks(record: Record, outcome: Outcome) -> Iterator[str]:
    if outcome.words:
        yield outcome.words
    if record.bycatch:
        yield "by-catch"
    if record.stage and record.stage.casefold() not in _STAGES:
        yield f"life stage as written: {record.stage}"
    if record.unit != ANIMAL:
        yield f"counted as {outcome.n} {record.unit}"
    if record.amended:
        yield f"amended: {record.amended}"
    if record.remarks:
        yield record.remarks


def permit_rows(records: Sequence[Record]) -> Iterator[Cells]:
    """The rows of :data:`PERMITS`: one for each occurrence."""
    for record in records:
        permit = record.permit
        span = f"{permit.valid_from} to {permit.valid_until}"
        line = f"line {permit.line}: {permit.words}" if permit.line else "on no line of it"
        for outcome in outcomes(record):
            yield (
                identifier(record, outcome),
                _PERMIT_TYPES.get(permit.kind.casefold(), "Other"),
                "Permit available" if permit.valid else "Permit not available",
                f"valid {span}" if permit.valid else f"taken on a day on which it was not valid ({span})",
                f"{permit.number}, {permit.authority}; {line}",
            )


def measurement_rows(records: Sequence[Record]) -> Iterator[Cells]:
    """The rows of :data:`MEASUREMENTS`: sizes, by-catch, and numbers in units that are not animals."""
    for record in records:
        for outcome in outcomes(record):
            core = identifier(record, outcome)
            for kind, value, unit in _facts(record, outcome):
                yield core, f"{core}/{kind.replace(' ', '-')}", kind, value, unit


def _facts(record: Record, outcome: Outcome) -> Iterator[tuple[str, str, str]]:
    if record.unit != ANIMAL:
        yield "number", str(outcome.n), record.unit
    if outcome.basis == LIVING and record.stock_unit not in (ANIMAL, record.unit):
        yield "number into the collection", _text(stocked(record)), record.stock_unit
    if record.size_mm is not None:
        yield "size", str(record.size_mm), "mm"
    yield "by-catch", "yes" if record.bycatch else "no", ""


def _text(value: object) -> str:
    return "" if value is None else str(value)
