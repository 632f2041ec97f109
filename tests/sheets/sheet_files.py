"""Sheets for the tests: a good run, changed in one place, written to a folder and read."""

from __future__ import annotations

from pathlib import Path

import pytest

from fractionkit.errors import Fault, InputError
from fractionkit.sheets import load_run

RUN = """\
[run]
title = "Charge 7"
date = 2026-05-09
components = ["trichloroethylene", "tetrachloroethylene"]

[charge]
mass = "1480 g"

[residue]
mass = "61 g"

[pressure]
station = "98.6 ± 0.4 kPa"

[thermometer]
bias = "0.8 degC"
repeat = "0.3 degC"

[density]
bias = "0.0008 g/mL"
repeat = "0.001 g/mL"

[target]
component = "tetrachloroethylene"
purity = "99 wt%"
confidence = 0.95

[[test]]
cut = "C2"
component = "trichloroethylene"
result = "negative"
detection_limit = "0.3 wt%"
"""
CUTS = """\
cut,head_start,head_end,mass,density,density_temp,note
C1,87.8,88.8,176.2,1.4693,21.5,forerun
C2,88.8,92.2,168.9,1.4769,21.5,
C3,92.2,101.6,142.7,1.4979,21.4,
"""


def write(folder: Path, run: str = RUN, cuts: str | bytes | None = CUTS) -> Path:
    """Write both sheets (no cuts file for None) and return the folder."""
    (folder / "run.toml").write_text(run, encoding="utf-8")
    if isinstance(cuts, str):
        cuts = cuts.encode()
    if cuts is not None:
        (folder / "cuts.csv").write_bytes(cuts)
    return folder


def changed(text: str, old: str, new: str) -> str:
    """``text`` with its one ``old`` replaced; a test that changes nothing would prove nothing."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
    return text.replace(old, new)


def faults(folder: Path) -> tuple[Fault, ...]:
    """The faults of a run that must not be read."""
    with pytest.raises(InputError) as caught:
        load_run(folder)
    assert str(caught.value) == "\n".join(str(fault) for fault in caught.value.faults)
    return caught.value.faults
