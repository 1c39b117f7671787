"""The tidy table of outcomes and its dictionary: read back by others without a fix."""

import csv
import hashlib
import io
import json
import os
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pandas as pd
import pytest
from builders import SETTINGS, result

from app.cli import main
from core.analysisbook import Question
from core.exports import tables
from core.exports.dictionary import FIELDS, data_package, schema
from core.exports.longtable import LONG_COLUMNS, VARIABLES, long_rows
from core.exports.tables import OUTCOME_COLUMNS
from core.model import Censored, Outcome, Status
from core.workspace import Workspace

ZONE = SETTINGS.timezone
OUTCOMES = [
    result("D1", "4.0", tray_is={"substrate_l": Decimal(2)}, corrected=Decimal("3.9")),
    result("D2", "0.1", censored=Censored.BELOW),
    result("D3", None, status=Status.DROP),
    result("D4", None, tray_is={"food_start_g": None, "items_start": 40, "items_left": 8},
           gud=Decimal(8)),
    result('Ü, "5"', "0", site="S1;\nS2"),
]  # fmt: skip


def text_of(outcomes: list[Outcome], item_mass: Decimal | None = None) -> str:
    rows = (row for one in outcomes for row in long_rows(one, ZONE, item_mass))
    return "".join(tables.csv_text(LONG_COLUMNS, rows))


def of(name: str, outcome: Outcome, item_mass: Decimal | None = None) -> list[tuple[str, ...]]:
    return [
        (row["value"], row["unit"], row["bound"])
        for row in long_rows(outcome, ZONE, item_mass)
        if row["variable"] == name
    ]


def test_each_number_has_a_row_with_its_unit_and_bound() -> None:
    """A number that is not known has no row; a bounded density says so."""
    assert of("gud", OUTCOMES[0]) == [("4", "g", "exact")]
    assert of("gud_per_l", OUTCOMES[0]) == [("2", "g/L", "exact")]
    assert of("gud", OUTCOMES[1]) == [("0.1", "g", "below")]
    assert of("gud", OUTCOMES[2]) == []
    assert of("gud", OUTCOMES[3]) == [("8", "items", "exact")]
    assert of("gud_per_l", OUTCOMES[3]) == []
    assert of("gud", OUTCOMES[4]) == [("0", "g", "exact")]


def test_the_mass_of_an_item_tells_grams_as_items() -> None:
    """4.0 g of seeds of 0.005 g are 800 seeds; 8 seeds are 0.04 g (by hand)."""
    mass = Decimal("0.005")
    assert of("gud_items", OUTCOMES[0], mass) == [("800", "items", "exact")]
    assert of("gud_grams", OUTCOMES[3], mass) == [("0.04", "g", "exact")]
    assert of("gud_items", OUTCOMES[0]) == of("gud_grams", OUTCOMES[3]) == []


def read_by_pandas(file: Path) -> list[dict[str, Any]]:
    frame = pd.read_csv(file, keep_default_na=False)
    assert pd.api.types.is_numeric_dtype(frame["value"])
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def read_by_r(file: Path) -> list[dict[str, Any]]:
    program = (
        "t <- read.csv(commandArgs(TRUE)[1], encoding='UTF-8', na.strings=character());"
        "stopifnot(is.numeric(t$value));"
        "write.csv(t, stdout(), row.names=FALSE, na='', fileEncoding='UTF-8')"
    )
    said = subprocess.run(
        ["Rscript", "-e", program, str(file)], capture_output=True, check=True, text=True
    ).stdout
    return list(csv.DictReader(io.StringIO(said)))


READERS = [read_by_pandas, *([read_by_r] if shutil.which("Rscript") else [])]


@pytest.mark.parametrize("reader", READERS)
def test_the_round_trip(reader: Any, tmp_path: Path) -> None:
    """Every cell comes back as it was, with line breaks, quotes and umlauts; values as numbers."""
    file = tmp_path / "long.csv"
    file.write_text(text_of(OUTCOMES), encoding="utf-8")
    expected = list(csv.DictReader(io.StringIO(text_of(OUTCOMES))))
    found = reader(file)
    assert len(found) == len(expected) > 30
    for row, asked in zip(found, expected, strict=True):
        assert float(row["value"]) == float(asked["value"])
        assert {k: str(v) for k, v in row.items() if k != "value"} == {
            k: v for k, v in asked.items() if k != "value"
        }


def test_one_row_for_each_deployment_and_variable() -> None:
    """The key of the table is deployment and variable, and it names every variable."""
    rows = list(csv.DictReader(io.StringIO(text_of(OUTCOMES, Decimal("0.005")))))
    keys = [(row["deployment"], row["variable"]) for row in rows]
    assert len(keys) == len(set(keys))
    assert {variable for _, variable in keys} <= set(VARIABLES)


# --- the dictionary ------------------------------------------------------------------------------


def test_every_column_is_described_in_its_order() -> None:
    """Both tables have all of their columns in the dictionary, each with a meaning."""
    package = json.loads(data_package("a.csv", "b.csv"))
    by_name = {one["name"]: one for one in package["resources"]}
    assert [f["name"] for f in by_name["outcomes"]["schema"]["fields"]] == list(OUTCOME_COLUMNS)
    assert [f["name"] for f in by_name["outcomes-long"]["schema"]["fields"]] == list(LONG_COLUMNS)
    assert by_name["outcomes-long"]["path"] == "b.csv"
    assert all(meaning.endswith((".", "]", "on it.")) for _, meaning in FIELDS.values())
    assert set(FIELDS) == {*OUTCOME_COLUMNS, *LONG_COLUMNS}


def test_the_dictionary_is_a_data_package_of_table_schemas() -> None:
    """Held against the JSON Schemas of Data Package 1.0 and Table Schema 1.0 as published."""
    shared = os.environ.get("LASTBITE_SHARED")
    if not shared:
        pytest.skip("LASTBITE_SHARED is not set")
    standard = Path(shared) / "standards" / "data-package-1.0"
    fields = json.loads((standard / "tableschema.json").read_text(encoding="utf-8"))
    whole = json.loads((standard / "datapackage.json").read_text(encoding="utf-8"))
    jsonschema.Draft7Validator(fields).validate(schema(LONG_COLUMNS, ["deployment", "variable"]))
    jsonschema.Draft7Validator(fields).validate(schema(OUTCOME_COLUMNS, ["deployment"]))
    jsonschema.Draft7Validator(whole).validate(json.loads(data_package()))


def test_cells_are_what_the_dictionary_says() -> None:
    """Each cell of both tables has the type of its column, and none is outside its list."""
    wide = [tables.outcome_row(one, ZONE) for one in OUTCOMES]
    long = [row for one in OUTCOMES for row in long_rows(one, ZONE)]
    for row in (*wide, *long):
        for name, cell in row.items():
            about, _ = FIELDS[name]
            if cell and about["type"] in {"number", "integer"}:
                assert str(float(cell)) != "nan", name
            if cell and about["type"] == "datetime":
                assert pd.to_datetime(cell).tzinfo is not None
            known = about.get("constraints", {}).get("enum")
            assert known is None or cell in known, (name, cell)


def test_the_command_writes_all_three(demo: Workspace, tmp_path: Path) -> None:
    """Wide, long and dictionary; the report's checksums are those of the files."""
    wide, long, about = (tmp_path / name for name in ("o.csv", "l.csv", "about.json"))
    demo.close()
    main(["outcomes", str(demo.folder), "--csv", str(wide), "--long", str(long),
          "--dictionary", str(about)])  # fmt: skip
    sums = demo.analysis.checksums()
    assert sorted(sums.values()) == sorted(
        hashlib.sha256(file.read_bytes()).hexdigest() for file in (wide, long)
    )
    package = json.loads(about.read_text(encoding="utf-8"))
    assert [one["path"] for one in package["resources"]] == ["o.csv", "l.csv"]
    frame = pd.read_csv(long)
    gud = frame[frame["variable"] == "gud"].set_index("deployment")["value"]
    kept = {
        one.deployment.deployment: float(round(one.gud, 4))
        for one in demo.analysis.outcomes(Question())
        if one.gud is not None
    }
    assert gud.to_dict() == pytest.approx(kept)
