"""result.json and faces.csv: plain data in the units of the trade."""

import csv
import json
import math
import re
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import synthetic

from raysim.base.cases import CAUTIOUS, EXPECTED
from raysim.base.csv_cells import safe_cell
from raysim.base.figures import NotAFigure
from raysim.output.files.folder import json_text
from raysim.output.files.records import FACE_COLUMNS, result_record, write_faces
from raysim.output.files.schemas.print import schema_text
from raysim.output.files.schemas.versions import VERSIONS

UNITS = {"_mW_cm2": "mW/cm2", "_mJ_cm2": "mJ/cm2", "area_cm2": "cm2", "_s": "s", "_mm": "mm"}


def schema() -> dict:
    """The published schema."""
    return json.loads(schema_text("dose"))


def complaints(record: dict) -> list[str]:
    """What the schema has to say against a record as it would be written."""
    validator = jsonschema.Draft202012Validator(schema())
    return [error.message for error in validator.iter_errors(json.loads(json_text(record)))]


def rows_of(path) -> list[dict]:
    """Rows of a CSV file."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def objects_in(node):
    """Every table of the schema that lists its properties."""
    if isinstance(node, dict):
        if "properties" in node and node.get("type") == "object":
            yield node
        for inner in node.values():
            yield from objects_in(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from objects_in(inner)


def test_the_schema_is_strict_and_explains_every_key():
    jsonschema.Draft202012Validator.check_schema(schema())
    assert schema()["properties"]["schema_version"]["const"] == VERSIONS["dose"]
    tables = list(objects_in(schema()))
    assert len(tables) >= 12
    for table in tables:
        assert table["additionalProperties"] is False
        assert set(table["required"]) == set(table["properties"])
        for key, entry in table["properties"].items():
            assert entry.get("description"), key
            for end, unit in UNITS.items():
                if key.endswith(end):
                    assert unit in re.split(r"[ ,.;:]+", entry["description"]), key


@pytest.mark.parametrize("case", [CAUTIOUS, EXPECTED])
def test_a_record_keeps_to_the_schema(case):
    record = result_record(synthetic.result(), case)
    assert complaints(record) == []
    assert record["case"] == case
    assert record["energy"] == record["cases"][case]["energy"]


def test_records_of_odd_runs_keep_to_the_schema():
    whole = synthetic.result()
    odd = (
        synthetic.result(dark=True),
        replace(whole, interrupted=True, meters=(), warnings=(), paths=0),
        replace(whole, precision_asked=None, assumptions=(), seed=2**64 - 1),
        synthetic.read(whole, 20.0),
        synthetic.read(whole, 2.0, None),
        synthetic.read(whole, 0.0),
    )
    for result in odd:
        assert complaints(result_record(result)) == []


def test_the_schema_notices_what_is_missing_wrong_or_too_much():
    record = result_record(synthetic.result())
    for key in record:
        assert complaints({k: v for k, v in record.items() if k != key}), key
    for case in record["cases"].values():
        kept = case["worst"].pop("lower_bound_mW_cm2")
        assert complaints(record)
        case["worst"]["lower_bound_mW_cm2"] = -1.0
        assert complaints(record)
        case["worst"]["lower_bound_mW_cm2"] = None
        assert complaints(record)
        case["worst"]["lower_bound_mW_cm2"] = kept
        case["extra"] = 1
        assert complaints(record)
        del case["extra"]
    assert complaints(record) == []


def test_numbers_are_in_the_units_of_the_trade():
    result = synthetic.read(synthetic.result(), 20.0)
    record = result_record(result)
    case, told = result.cases[CAUTIOUS], record["cases"][CAUTIOUS]
    # 1 mW/cm2 = 10 W/m2, 1 mJ/cm2 = 10 J/m2.
    worst = told["worst"]
    assert worst["irradiance_mW_cm2"] == pytest.approx(0.1 * case.worst.irradiance, rel=1e-12)
    assert worst["standard_error_mW_cm2"] == pytest.approx(0.1 * case.worst.standard_error)
    assert worst["centroid_mm"] == pytest.approx(1000.0 * case.worst.centroid, abs=1e-3)
    assert told["percentiles"]["mean_mW_cm2"] == pytest.approx(0.1 * case.summary.mean)
    assert told["percentiles"]["area_cm2"] == pytest.approx(1e4 * case.summary.area_m2)
    assert record["target"] == {"dose_mJ_cm2": 1000.0, "safety_factor": 1.2}
    (meter,) = record["meters"]
    assert meter["irradiance_mW_cm2"] == 2.5
    assert meter["standard_error_mW_cm2"] == pytest.approx(0.05)
    assert meter["reading_mW_cm2"] == 2.0
    assert record["energy"]["emitted_W"] == pytest.approx(0.68 * 4.8)


def test_the_bound_of_the_worst_spot_is_that_of_all_judged_faces():
    whole = synthetic.result()
    case = replace(whole.cases[CAUTIOUS], bound=0.5)
    record = result_record(replace(whole, cases={**whole.cases, CAUTIOUS: case}))
    assert record["cases"][CAUTIOUS]["worst"]["lower_bound_mW_cm2"] == 0.05
    # Those of single objects hold for themselves.
    for entry, spot in zip(
        record["cases"][CAUTIOUS]["per_object"], case.worst_per_object, strict=True
    ):
        assert entry["worst"]["lower_bound_mW_cm2"] == pytest.approx(0.1 * spot.lower_bound)


def test_lamps_tell_what_they_give_to_the_expected_worst_spot():
    result = synthetic.result()
    lamps = result_record(result)["lamps"]
    worst = result.cases[EXPECTED].worst
    given = sum(lamp["irradiance_at_expected_worst_mW_cm2"] for lamp in lamps)
    assert given == pytest.approx(0.1 * worst.irradiance, rel=1e-9)
    assert [lamp["hours"] for lamp in lamps] == [0.0, 100.0]


def test_what_is_not_finite_is_null():
    record = result_record(synthetic.result(dark=True))
    assert record["verdict"]["timer_s"] is None
    assert record["cases"][CAUTIOUS]["exposure_time_s"] is None
    with pytest.raises(NotAFigure, match="not JSON compliant"):
        json_text({"a": math.nan})


def test_faces_csv_by_hand(tmp_path):
    result = synthetic.result()
    for case in (CAUTIOUS, EXPECTED):
        write_faces(result, tmp_path / "faces.csv", case)
        rows = rows_of(tmp_path / "faces.csv")
        assert tuple(rows[0]) == FACE_COLUMNS
        faces, sides = np.nonzero(result.triangles.judged)
        assert [int(row["face"]) for row in rows] == faces.tolist()
        assert [row["side"] for row in rows] == [("outside", "inside")[s] for s in sides]
        shown = np.array([float(row["irradiance_mW_cm2"]) for row in rows])
        assert np.allclose(shown, 0.1 * result.cases[case].irradiance[faces, sides], rtol=1e-5)
        dose = np.array([float(row["dose_at_timer_mJ_cm2"]) for row in rows])
        # The timer of the cautious case for both, less the 75 s that warming up costs.
        assert np.allclose(dose, shown * (result.timer - 75.0), rtol=1e-5)


def test_without_a_timer_the_dose_is_left_empty(tmp_path):
    write_faces(synthetic.result(dark=True), tmp_path / "faces.csv")
    rows = rows_of(tmp_path / "faces.csv")
    assert {row["dose_at_timer_mJ_cm2"] for row in rows} == {""}
    assert min(float(row["irradiance_mW_cm2"]) for row in rows) == 0.0


@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\t", "\r"])
def test_a_spreadsheet_takes_no_name_for_a_formula(tmp_path, first):
    names = (f'{first}HYPERLINK("x")', 'with, comma and "quotes"')
    write_faces(synthetic.result(names), tmp_path / "faces.csv")
    found = {row["object"] for row in rows_of(tmp_path / "faces.csv")}
    assert found == {f"'{names[0]}", names[1]}


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("a;=1+1", "a;'=1+1"),
        ("a; =1+1", "a;' =1+1"),
        ("a\t@x|-2", "a\t'@x|'-2"),
        ("\t=1", "'\t'=1"),
        ('a,"=1', "a,\"'=1"),
        ("\uff1d1", "'\uff1d1"),
        ("rear-left + 2", "rear-left + 2"),
    ],
)
def test_nor_a_part_of_a_name_after_what_may_end_a_cell(name, cell):
    assert safe_cell(name) == cell
    for separator in ",;|\t":  # however a spreadsheet splits it
        pieces = safe_cell(name).split(separator)
        assert not any(piece.strip('" ').startswith(tuple("=+-@\t\uff1d")) for piece in pieces)
