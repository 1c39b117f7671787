"""A study's settings: defaults, and what is refused with a way out."""

from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from core.errors import LastbiteError, StudyError
from core.settings import FILE_NAME, TEMPLATE, FeederRule, Settings, read, zone

CAPE = ZoneInfo("Africa/Johannesburg")


@pytest.fixture(name="file")
def settings_file(tmp_path: Path) -> Path:
    """Give the place of a study's settings."""
    (tmp_path / "dunes").mkdir()
    return tmp_path / "dunes" / FILE_NAME


def written(file: Path, more: str = "") -> Path:
    """Write settings with a zone and some lines more."""
    file.write_text(f'[study]\ntimezone = "Africa/Johannesburg"\n{more}\n', encoding="utf-8")
    return file


def test_the_file_a_new_study_gets(file: Path) -> None:
    """The template, read back, is the defaults: gap 120 s, step 0.1 g, one tagger."""
    text = TEMPLATE.format(name="Dunes 2026", timezone="Africa/Johannesburg")
    file.write_text(text, encoding="utf-8")
    assert read(file) == Settings("Dunes 2026", CAPE)
    assert read(file) == Settings(
        name="Dunes 2026",
        timezone=CAPE,
        gap=timedelta(seconds=120),
        scale_step=Decimal("0.1"),
        tolerance=None,
        taggers_needed=1,
        database="",
    )


def test_every_setting_of_the_template_is_explained() -> None:
    """A comment stands above each setting but the name."""
    lines = TEMPLATE.splitlines()
    for place, line in enumerate(lines):
        if "=" in line and not line.startswith(("#", "name")):
            assert lines[place - 1].startswith("#"), line


def test_left_out_settings_take_their_default(file: Path) -> None:
    """A zone is enough; the study is named after its folder."""
    assert read(written(file)) == Settings("dunes", CAPE)


@pytest.mark.parametrize(
    ("lines", "name", "value"),
    [
        ("[visits]\ngap_s = 30", "gap", timedelta(seconds=30)),
        ("[visits]\ngap_s = 90.5", "gap", timedelta(seconds=90.5)),
        ("[food]\nscale_step_g = 0.01", "scale_step", Decimal("0.01")),
        ("[food]\nscale_step_g = 1", "scale_step", Decimal(1)),
        ("[food]\ntolerance_g = 0.30", "tolerance", Decimal("0.30")),
        ("[food]\ntolerance_g = 0", "tolerance", Decimal(0)),
        ("[food]\ntolerance_g = 0.0", "tolerance", Decimal(0)),
        ("[tags]\ntaggers_needed = 3", "taggers_needed", 3),
        ("[rules]", "feeder", FeederRule.LAST),
        ('[rules]\nfeeder = "single"', "feeder", FeederRule.SINGLE),
        ('[rules]\nfeeder = "time"', "feeder", FeederRule.TIME),
        ("[food]", "moisture_corrected", True),
        ("[food]\ncorrect_moisture = false", "moisture_corrected", False),
        ("[food]\ncorrect_sifting = false", "sifting_corrected", False),
        ("[food]\nitem_mass_g = 0.0052", "item_mass", Decimal("0.0052")),
    ],
)
def test_each_setting(file: Path, lines: str, name: str, value: Any) -> None:
    """A setting that is written holds, to the digit: masses are decimal."""
    assert getattr(read(written(file, lines)), name) == value


def test_a_database_address(file: Path) -> None:
    """A server's address goes under [study]."""
    assert read(written(file, 'database = "postgresql://db/dunes"')).database == (
        "postgresql://db/dunes"
    )


@pytest.mark.parametrize("before", ["\ufeff", "# ours\r\n"], ids=["a byte-order mark", "CR LF"])
def test_what_editors_put_in_a_file(file: Path, before: str) -> None:
    """Settings saved by any editor are read."""
    text = f'{before}[study]\r\ntimezone = "Africa/Johannesburg"\r\n'
    file.write_bytes(text.encode())
    assert read(file).timezone == CAPE


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        pytest.param(
            "[visits]\ngaps = 30", ["'gaps'", "Did you mean 'gap_s'?"], id="a misspelt setting"
        ),
        pytest.param(
            "[foods]\nscale_step_g = 1", ["'[foods]'", "'[food]'"], id="a misspelt section"
        ),
        pytest.param("[rules]\nstrict = true", ["'strict'", "Known are: feeder"], id="unknown"),
        pytest.param(
            '[rules]\nfeeder = "first"', ["'first'", "last, single, time"], id="no such rule"
        ),
        pytest.param("[rules]\nfeeder = [1]", ["[1]", "none of"], id="a list for a rule"),
        pytest.param('[food]\ncorrect_moisture = "no"', ["'no'", "true nor false"], id="a word"),
        pytest.param("[food]\ncorrect_sifting = 0", ["0", "true nor false"], id="nought"),
        pytest.param("[food]\nitem_mass_g = 0", ["item_mass_g", "above zero"], id="no mass"),
        pytest.param("gap_s = 30", ["'gap_s'", "Known are: database"], id="in another section"),
        pytest.param("[visits]\ngap_s = 0", ["gap_s = 0", "above zero"], id="no gap"),
        pytest.param("[visits]\ngap_s = -5", ["gap_s = -5", "above zero"], id="below zero"),
        pytest.param('[visits]\ngap_s = "2 min"', ['gap_s = "2 min"', "above zero"], id="text"),
        pytest.param("[visits]\ngap_s = true", ["True", "above zero"], id="a yes"),
        pytest.param("[food]\nscale_step_g = 0.0", ["scale_step_g", "above zero"], id="no step"),
        pytest.param("[food]\ntolerance_g = -0.1", ["tolerance_g", "-0.1"], id="tolerance below"),
        pytest.param("[food]\ntolerance_g = false", ["tolerance_g", "False"], id="a no"),
        pytest.param(
            "[tags]\ntaggers_needed = 0", ["taggers_needed = 0", "from 1"], id="no tagger"
        ),
        pytest.param("[visits]\ngap_s = nan", ["gap_s", "number"], id="not a number"),
        pytest.param("[visits]\ngap_s = inf", ["gap_s", "number"], id="endless"),
        pytest.param("[visits]\ngap_s = 1e20", ["gap_s", "1,000,000"], id="longer than ages"),
        pytest.param(
            "[tags]\ntaggers_needed = 1.5", ["taggers_needed", "whole number"], id="half a tagger"
        ),
        pytest.param("[tags]\ntaggers_needed = true", ["True", "whole number"], id="a yes again"),
        pytest.param(
            "[visits]\n[food]\n[study.x]\ny = 1", ["'x'", "not known"], id="a section inside"
        ),
        pytest.param("[visits\n", ["line 3", "Mend that line"], id="no TOML"),
        pytest.param("[visits]\ngap_s = 1\ngap_s = 2", ["line 5", "Mend"], id="written twice"),
    ],
)
def test_what_is_refused(file: Path, lines: str, words: list[str]) -> None:
    """A fault names the file, the setting, its value and the way out."""
    with pytest.raises(StudyError) as refused:
        read(written(file, lines))
    message = str(refused.value)
    for word in [str(file), *words]:
        assert word in message


@pytest.mark.parametrize("text", ["", "[study]\n", '[study]\ntimezone = ""\n'])
def test_a_study_without_a_zone(file: Path, text: str) -> None:
    """The computer's own zone is never taken unasked."""
    file.write_text(text, encoding="utf-8")
    with pytest.raises(StudyError, match="names no time zone"):
        read(file)


def test_settings_in_another_encoding(file: Path) -> None:
    """A file that is not UTF-8 is refused in words, not with a traceback."""
    file.write_bytes('[study]\nname = "Dünen"\ntimezone = "UTC"\n'.encode("latin-1"))
    with pytest.raises(StudyError, match="cannot be read as settings"):
        read(file)


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("Africa/Johanesburg", "Did you mean 'Africa/Johannesburg'?"),
        ("Nowhere at all", "Give an IANA name"),
        ("Africa", "Give an IANA name"),
        ("../etc/passwd", "Give an IANA name"),
        ("", "Give an IANA name"),
    ],
)
def test_zones_that_are_not_known(name: str, hint: str) -> None:
    """An unknown zone is refused with the likely one."""
    with pytest.raises(LastbiteError) as refused:
        zone(name)
    assert repr(name) in str(refused.value)
    assert hint in str(refused.value)


def test_a_file_with_an_unknown_zone(file: Path) -> None:
    """The fault names the file as well as the zone."""
    file.write_text('[study]\ntimezone = "Europe/Lodnon"\n', encoding="utf-8")
    with pytest.raises(StudyError, match=r"'Europe/Lodnon'.*'Europe/London'") as refused:
        read(file)
    assert str(file) in str(refused.value)


def test_a_zone() -> None:
    """A known zone is given."""
    assert zone("Africa/Johannesburg") == CAPE
