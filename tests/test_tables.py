"""Tables run nothing in a spreadsheet and lose nothing on the way."""

import csv
import io
from datetime import date

import pytest

from lapsekit.tables import Column, Table, cell, data_package


@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_that_a_spreadsheet_would_run_is_made_harmless(text):
    assert cell(text) == f"'{text}"


@pytest.mark.parametrize("value", [-1.5, "-1.5", "+3e5", -2, "basil", "", "a=b", date(2031, 4, 1)])
def test_numbers_and_plain_text_stay_as_they_are(value):
    assert cell(value) == str(value)


def test_a_number_with_a_formula_behind_it_is_no_number():
    assert cell("-1.5 =2+3") == "'-1.5 =2+3"


def table():
    columns = (Column("what", "string", "words"), Column("size", "number", "how large", "cm2"))
    return Table(
        "things", "Things", ("what",), columns, [("=A1", None), ('a "b", c', -0.123456789)]
    )


def test_a_table_comes_back_from_its_csv():
    rows = list(csv.reader(io.StringIO(table().csv.decode())))
    assert rows == [["what", "size"], ["'=A1", ""], ['a "b", c', "-0.123457"]]


def test_parquet_carries_units_and_keeps_text_as_it_is():
    parquet = pytest.importorskip("pyarrow.parquet")
    found = parquet.read_table(io.BytesIO(table().as_parquet()))
    assert found.schema.field("size").metadata[b"unit"] == b"cm2"
    assert found.to_pylist()[0] == {"what": "=A1", "size": None}


def test_an_empty_table_keeps_its_columns():
    pytest.importorskip("pyarrow.parquet")
    empty = Table("things", "Things", ("what",), table().columns, [])
    assert empty.csv == b"what,size\n"
    assert empty.as_parquet()
    assert '"observed_variables": []' in data_package("p", "P", [empty])
