"""The JSON Schemas of records are those of their types."""

import jsonschema
import pytest

import document_schemas
from glassine.base import files


@pytest.mark.parametrize("name", sorted(document_schemas.RECORDS))
def test_a_schema_is_that_of_its_type(name):
    written = document_schemas.path_of(name).read_text("utf-8")
    assert written == document_schemas.text_of(name), "run scripts/document_schemas.py"


@pytest.mark.parametrize("name", sorted(document_schemas.RECORDS))
def test_a_schema_is_one_of_the_standard(name):
    jsonschema.Draft202012Validator.check_schema(files.read_schema(name))
