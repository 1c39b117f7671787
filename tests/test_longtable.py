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
import numpy as np
import pandas as pd
import pytest
from builders import SETTINGS, SPECIES, bounded_trays, result, seen, sighting

from app.cli import main
from core.analysis.censored import CensoredModel, censored_model
from core.analysis.choice import Choice
from core.analysis.likelihood import fit_bounded
from core.analysis.told import BOUNDS, Tells, tell
from core.analysisbook import Question
from core.exports import tables
from core.exports.dictionary import FIELDS, data_package, schema
from core.exports.longtable import LONG_COLUMNS, VARIABLES, long_rows
from core.exports.tables import OUTCOME_COLUMNS
from core.model import Censored, Outcome, Reason, Status
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
    rows = (row for one in outcomes for row in long_rows(one, ZONE, item_mass, SPECIES))
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
    assert of("gud_as_items", OUTCOMES[0], mass) == [("800", "items", "exact")]
    assert of("gud_grams", OUTCOMES[3], mass) == [("0.04", "g", "exact")]
    assert of("gud_as_items", OUTCOMES[0]) == of("gud_grams", OUTCOMES[3]) == []


def test_a_name_means_the_same_in_both_tables() -> None:
    """The item columns are of counted food in both, whatever mass an item has."""
    for one in OUTCOMES:
        wide = tables.outcome_row(one, ZONE)["gud_items"]
        assert [number for number, *_ in of("gud_items", one, Decimal("0.005"))] == [wide] * (
            wide != ""
        )
    assert tables.outcome_row(OUTCOMES[3], ZONE)["gud_items"] == "8"


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


def test_one_row_for_each_deployment_variable_and_species() -> None:
    """They are the key of the table, and it names every variable."""
    given = [*OUTCOMES, *bounded_trays()]
    rows = list(csv.DictReader(io.StringIO(text_of(given, Decimal("0.005")))))
    keys = [(row["deployment"], row["variable"], row["species"]) for row in rows]
    assert len(keys) == len(set(keys))
    assert {variable for _, variable, _ in keys} <= set(VARIABLES)


def test_the_model_with_bounds_is_fitted_from_the_table_alone() -> None:
    """Values, emptied, interrupted, refused and earlier-feeder trays: the study's own ratio."""
    given = bounded_trays()
    choice = Choice(ZONE, SPECIES["g"], first="open", second="bush")
    theirs = censored_model(tell(given, choice, SPECIES), choice)
    assert isinstance(theirs, CensoredModel)
    assert {tells for side in (theirs.first, theirs.second) for tells, _ in side.tells} == {
        Tells.VALUE, *BOUNDS,
    }  # fmt: skip
    table = pd.read_csv(io.StringIO(text_of(given)))
    mine = table[table["species"] == "gerbil"]
    wide = mine.pivot_table(
        index=["deployment", "microhabitat"], columns="variable", values="value"
    ).reset_index()
    low = np.log(wide["gud_low"].fillna(0).clip(lower=1e-300)).where(wide["gud_low"] > 0, -np.inf)
    high = np.log(wide["gud_high"].fillna(np.inf))
    sides = [wide["microhabitat"] == side for side in ("open", "bush")]
    fit = fit_bounded(low.to_numpy(), high.to_numpy(), np.column_stack(sides).astype(float))
    assert len(wide) == theirs.n == 60
    assert np.exp(fit.beta[0] - fit.beta[1]) == pytest.approx(theirs.ratio.ratio, rel=1e-6)


def test_each_bound_says_what_it_is() -> None:
    """By hand: emptied below 0.1 g, refused at least 10 g, an earlier mouse between 4 and 10 g."""
    gerbil_after = (seen(sighting("m")), seen(sighting(clock="23:00")))
    given = [
        result("D1", "0.1", censored=Censored.BELOW, status=Status.CAUTION),
        result("D2", None, status=Status.NO_GUD, reason=Reason.VISITED_NOT_EATEN,
               seen=(seen(sighting()),)),
        result("D3", "4.0", status=Status.CAUTION, seen=gerbil_after),
        result("D4", "2.0", censored=Censored.AT_MOST, status=Status.CAUTION),
        result("D5", "3.0"),
    ]  # fmt: skip
    rows = csv.DictReader(io.StringIO(text_of(given)))
    told = [
        (row["deployment"], row["species"], row["variable"][4:], row["value"], row["bound"])
        for row in rows
        if row["species"]
    ]
    assert told == [
        ("D1", "gerbil", "high", "0.1", "below"),
        ("D2", "gerbil", "low", "10", "at_least"),
        ("D3", "gerbil", "low", "4", "exact"), ("D3", "gerbil", "high", "4", "exact"),
        ("D3", "mouse", "low", "4", "at_least"), ("D3", "mouse", "high", "10", "at_most"),
        ("D4", "gerbil", "high", "2", "at_most"),
        ("D5", "gerbil", "low", "3", "exact"), ("D5", "gerbil", "high", "3", "exact"),
    ]  # fmt: skip


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
