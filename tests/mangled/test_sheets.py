"""Every sheet, mangled in every way, is read or refused with file, place and expectation; nothing else ever comes out.

Thousands of seeds were run while this was written; a few of them are run here each time.
"""

from __future__ import annotations

import random
import shutil
import warnings
from pathlib import Path

import pytest

from fractionkit.errors import InputError
from fractionkit.sheets import load_run
from fractionkit.sheets.aliquots import load_aliquots
from fractionkit.sheets.lot_file import load_lot
from fractionkit.sheets.still_file import load_still
from tests.mangled.mangle import mangle

DATA = Path(__file__).parents[2] / "data"
SHEETS = {
    "demo_binary": (("run.toml", "cuts.csv"), load_run),
    "demo_ternary": (("run.toml", "cuts.csv"), load_run),
    "demo_aliquots": (("aliquots.toml", "aliquots.csv"), load_aliquots),
    "demo_still": (("STILL.toml",), load_still),
    "demo_lot": (("LOT.toml",), load_lot),
}
SEEDS = 120


@pytest.mark.parametrize("demo", SHEETS)
def test_a_mangled_sheet_is_read_or_refused(demo, tmp_path):
    names, load = SHEETS[demo]
    folder = tmp_path / demo
    (tmp_path / "demo_binary").mkdir()
    for name in ("run.toml", "cuts.csv"):  # what the sheet of a lot points to
        shutil.copy(DATA / "demo_binary" / name, tmp_path / "demo_binary" / name)
    refused = []
    for seed in range(SEEDS):
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(DATA / demo, folder)
        mangle(folder / random.Random(seed).choice(names), seed)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                load(folder)
        except InputError as error:
            refused.append((seed, error.faults))
    for seed, faults in refused:
        for fault in faults:
            assert fault.expected, (seed, fault)
            assert fault.file is not None, (seed, fault)
            assert str(tmp_path) in fault.file, (seed, fault)
    assert SEEDS // 2 < len(refused) < SEEDS  # most are beyond reading, some are still a sheet


@pytest.mark.parametrize("name", ["x" * 300, "a\nb", "\udc80", " ", "..", "/dev/null"])
@pytest.mark.parametrize("load", [load_run, load_aliquots, load_still, load_lot])
def test_a_path_that_leads_nowhere(load, name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        load(name)
    assert all(fault.expected for fault in caught.value.faults)
