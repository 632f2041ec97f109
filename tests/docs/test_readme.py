"""The README holds: both lines are there, every command prints what is shown, the table of keys is complete."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path
from typing import get_args, get_origin

import pytest

from fractionkit import assess, load_run
from fractionkit.sheets.columns import COLUMNS
from fractionkit.sheets.lot_sections import LotFile
from fractionkit.sheets.sections import RunFile, Section, StemSection
from fractionkit.sheets.still_sections import StillFile
from fractionkit.substances import catalogue
from tests.docs.blocks import blocks, chosen
from tests.docs.picture import PICTURE, picture
from tests.docs.runner import played

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
MOST_ROUNDED = 7  # decimals in a table
NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e-?\d+)?")


def same(shown: str, printed: str) -> bool:
    """Whether two texts agree: words exactly, white space and rules freely, numbers to 3 units of their last digit.

    The numbers carry the noise of seeded samples; another version of numpy may move the last digit.
    """
    first, second = (re.sub(r"\s+", " ", re.sub(r"─+", "─", text)).strip() for text in (shown, printed))
    if NUMBER.sub("#", first) != NUMBER.sub("#", second):
        return False
    return all(close(a, b) for a, b in zip(NUMBER.findall(first), NUMBER.findall(second), strict=True))


def close(a: str, b: str) -> bool:
    """Numbers within 3 units of the coarser last digit; of JSON, which writes all digits, within 0.003.

    Whole numbers: exactly up to 31 (counts, days), then within 1, from 100 on within 1 %: a plan is the best of many.
    """
    digits = min(len(text.partition(".")[2]) for text in (a, b))
    digits = 3 if digits > MOST_ROUNDED else digits
    if "e" in a or "e" in b:
        return abs(float(a) / float(b) - 1.0) < 0.05
    whole = 0.0 if float(a) < 32.0 else max(1.0, 0.01 * float(a))
    tolerance = 3.001 * 10.0**-digits if "." in a + b else whole
    return abs(float(a) - float(b)) <= tolerance


def test_numbers_and_words_are_compared():
    assert same("C1  93.3 (92.2–94.5)\n──── waste", "C1 93.4 (92.2–94.4) ─ waste")
    assert not same("C1 93.3 waste", "C1 93.9 waste")
    assert not same("C1 93.3 waste", "C1 93.3 keep")
    assert same('"low": 0.947646075887', '"low": 0.948646080001')
    assert not same('"low": 0.947646075887', '"low": 0.957646075887')
    assert not same("5 cuts", "6 cuts")
    assert not same("2026-05-09", "2026-05-10")
    assert same("442 (411–469)", "443 (412–470)")
    assert not same("442 (411–469)", "452 (411–469)")


def test_a_command_may_go_on_in_the_next_line():
    (block,) = blocks("<!-- show 1-2 -->\n```console\n$ one a \\\n    b\nprinted\n$ two\n```\n")
    assert block.commands() == ["one a \\\n    b", "two"]
    assert block.remarks == {"show": "1-2"}


def test_lines_are_chosen():
    lines = ["a", "b", "c", "d"]
    assert chosen(lines, None) == lines
    assert chosen(lines, "2, 4") == ["[...]", "b", "[...]", "d"]
    assert chosen(lines, "1-2") == ["a", "b", "[...]"]
    assert chosen(lines, "3-") == ["[...]", "c", "d"]
    with pytest.raises(ValueError, match="rising"):
        chosen(lines, "4-5")


def test_it_opens_with_the_job_in_one_paragraph():
    title, paragraph, rest = README.split("\n\n", 2)
    assert title == "# fractionkit"
    assert not paragraph.startswith(("#", "-", "|", "```"))
    for word in ("cut", "density", "head temperature", "keep", "recycle", "pure"):
        assert word in paragraph
    assert "```sh" in rest.split("\n## ")[0] or "```sh" in rest.split("\n## ")[1]


def test_the_two_lines_make_their_own_environment():
    lines = [line for block in blocks(README) if block.language == "sh" for line in block.body.splitlines()]
    assert len(lines) == 2
    main_job, tests = lines
    for line in lines:
        assert line.startswith("python3 -m venv .venv && .venv/bin/pip install -q ")
    assert "fractionkit assess" in main_job
    assert tests.endswith("-m pytest -n auto")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "grep -m1 -- '-m pytest' README.md" in script
    assert next(line for line in README.splitlines() if "-m pytest" in line) == tests


def test_every_command_prints_what_is_shown():
    outputs = played(README)
    assert len(outputs) >= 12
    stale = [block.body for block, body in outputs if not same(block.body, body)]
    assert stale == [], "run `python -m tests.docs` and read what changed"


def test_no_block_names_a_place_on_a_disk():
    for block in blocks(README):
        assert "/tmp" not in block.body
        assert "/home" not in block.body


def test_no_true_composition_of_the_binary_demo_lies_outside_its_interval():
    result = assess(load_run(ROOT / "data" / "demo_binary"))
    with (ROOT / "data" / "demo_binary" / "truth.csv").open(encoding="utf-8") as stream:
        truth = {row["cut"]: row for row in csv.DictReader(line for line in stream if not line.startswith("#"))}
    for cut in result.cuts:
        for name, found in cut.composition.items():
            assert found.low <= float(truth[cut.name][name]) <= found.high, (cut.name, name)


def test_the_picture_is_of_the_demo_run():
    assert f"]({PICTURE})" in README
    words = re.compile(r">([^<>\n]+)<")
    stored = (ROOT / PICTURE).read_text(encoding="utf-8")
    assert set(words.findall(stored)) == set(words.findall(picture()))


def section_of(annotation: object) -> tuple[type[Section], bool]:
    """The model of a section and whether it may stand more than once."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation, False
    for part in get_args(annotation):
        if part is not type(None):
            model, many = section_of(part)
            return model, many or get_origin(annotation) is list
    raise TypeError(annotation)


def keys_of_the_sheet(sheet: type[Section]) -> set[str]:
    found: set[str] = set()
    for name, field in sheet.model_fields.items():
        model, many = section_of(field.annotation)
        head = f"[[{name}]]" if many else f"[{name}]"
        found |= {f"{head} {key}" for key in model.model_fields}
    return found


@pytest.mark.parametrize("heading, sheet", [("run.toml", RunFile), ("STILL.toml", StillFile), ("LOT.toml", LotFile)])
def test_the_table_explains_every_key_and_no_other(heading, sheet):
    part = re.search(rf"^### [^\n]*`{re.escape(heading)}`\n(.*?)^##", README, re.MULTILINE | re.DOTALL)
    assert part
    explained: set[str] = set()
    for sections, names in re.findall(r"^\| (`\[.*?\]`) \| (.*?) \|", part[1], re.MULTILINE):
        for section in re.findall(r"`(.*?)`", sections):
            if names == "as in run.toml":
                explained |= {key for key in keys_of_the_sheet(RunFile) if key.startswith(f"{section} ")}
            explained |= {f"{section} {key}" for key in re.findall(r"`(\w+)`", names)}
    assert explained == keys_of_the_sheet(sheet)


def test_the_stem_is_shown_with_all_its_keys():
    stem = re.search(r"stem = \{(.*?)\}", README)
    assert stem
    assert set(re.findall(r"(\w+) =", stem[1])) == set(StemSection.model_fields)


def test_the_table_explains_every_column_and_no_other():
    part = README.partition("<!-- columns -->")[2].partition("\n\n#")[0]
    found = [name for row in re.findall(r"^\| (`.*?`) \|", part, re.MULTILINE) for name in re.findall(r"`(\w+)`", row)]
    assert tuple(found) == COLUMNS


def test_the_number_of_substances_is_right():
    found = re.search(r"catalogue: (\d+) substances", README)
    assert found
    assert int(found[1]) == len(catalogue())


def test_every_piece_of_a_sheet_is_toml():
    pieces = [block for block in blocks(README) if block.language == "toml"]
    assert pieces
    for block in pieces:
        tomllib.loads(block.body)
