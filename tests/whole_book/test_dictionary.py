"""Every table and column that goes out has a meaning."""

import pytest
from django.core.management import call_command

from census.whole_book.queries.dictionary import HEADINGS, dictionary
from census.whole_book.queries.meanings import written
from census.whole_book.queries.tables import models_out, tables_out

# Terms of Darwin Core that the dictionary uses, from the quick reference guide (https://dwc.tdwg.org/terms/),
# written down from memory; license is Dublin Core's, which Darwin Core borrows.
DARWIN_CORE = {
    "class",
    "coordinateUncertaintyInMeters",
    "countryCode",
    "decimalLatitude",
    "decimalLongitude",
    "disposition",
    "eventDate",
    "family",
    "genus",
    "geodeticDatum",
    "identificationQualifier",
    "individualCount",
    "institutionCode",
    "kingdom",
    "license",
    "lifeStage",
    "locality",
    "locationID",
    "maximumDepthInMeters",
    "measurementDeterminedDate",
    "measurementType",
    "measurementUnit",
    "measurementValue",
    "minimumDepthInMeters",
    "occurrenceRemarks",
    "order",
    "organismID",
    "organismName",
    "organismQuantity",
    "organismQuantityType",
    "phylum",
    "recordedBy",
    "samplingProtocol",
    "scientificName",
    "scientificNameAuthorship",
    "sex",
    "taxonRank",
    "verbatimIdentification",
    "vernacularName",
}


def test_every_table_and_column_has_a_meaning() -> None:
    """A new column without words of its own and without a help text fails here."""
    without = [
        f"{table.name}.{column.name}"
        for _, table in tables_out(positions=True)
        for column in table.columns
        if len(column.meaning) < 3
    ]
    assert without == []
    assert [table.name for _, table in tables_out(positions=True) if len(table.meaning) < 10] == []


def test_nothing_is_explained_that_is_not_there() -> None:
    columns = {(m._meta.db_table, f.column) for m in models_out() for f in m._meta.concrete_fields}
    tables = {(table, "") for table, _ in columns}
    anywhere = {("*", column) for _, column in columns}

    assert set(written()) <= columns | tables | anywhere


def test_terms_are_terms_of_darwin_core() -> None:
    assert {said.term for said in written().values()} - {""} <= DARWIN_CORE


def test_the_dictionary_names_every_column_of_every_model_of_ours() -> None:
    told = {(row[0], row[1]) for row in dictionary()}
    left = {row[0] for row in dictionary() if row[2].startswith("left out") and not row[1]}

    for model in models_out():
        for field in model._meta.concrete_fields:
            table = model._meta.db_table
            assert (table, field.column) in told or table in left, f"{table}.{field.column}"
    assert all(len(row) == len(HEADINGS) for row in dictionary())


@pytest.mark.django_db
def test_allowed_values_are_those_of_the_model() -> None:
    row = next(row for row in dictionary() if row[:2] == ("book_cell", "sex"))

    assert row[6] == "male | female | hermaphrodite | unknown"
    assert row[8] == "sex"


@pytest.mark.django_db
def test_no_migration_is_missing_in_the_room() -> None:
    call_command("makemigrations", "whole_book", check=True, dry_run=True)
