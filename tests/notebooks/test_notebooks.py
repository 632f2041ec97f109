"""Every notebook runs from top to bottom in a fresh kernel, without the network, and is stored without outputs."""

from __future__ import annotations

import os
import re
import sys
import warnings
from pathlib import Path
from unittest import mock
from xml.etree import ElementTree

import nbformat
import numpy as np
import pandas as pd
import pytest
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))

# Run in the kernel before the first cell: warnings of our own code are errors, other machines cannot be reached.
GUARD = """
import socket as _socket
import warnings as _warnings

_warnings.filterwarnings("error", module="fractionkit")
_connect = _socket.socket.connect


def _refuse(self, address):
    if self.family == _socket.AF_UNIX or (isinstance(address, tuple) and address[0] in ("127.0.0.1", "::1", "localhost")):
        return _connect(self, address)
    raise AssertionError(f"a notebook must not use the network: {address}")


_socket.socket.connect = _refuse
import matplotlib as _matplotlib

_matplotlib.use("module://matplotlib_inline.backend_inline")
"""


def executed(notebook: nbformat.NotebookNode) -> nbformat.NotebookNode:
    """Run a copy in a kernel of this interpreter; an exception in a cell is raised here."""
    copy = nbformat.from_dict(notebook)
    copy.cells.insert(0, nbformat.v4.new_code_cell(GUARD))
    path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
    with warnings.catch_warnings(), mock.patch.dict(os.environ, {"PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1"}):
        warnings.simplefilter("ignore")  # the kernel's own packages warn of each other, differently in each version
        NotebookClient(copy, timeout=120, resources={"metadata": {"path": str(ROOT / "notebooks")}}).execute()
    return copy


def outputs(notebook: nbformat.NotebookNode, kind: str) -> list[str]:
    """Text of all outputs of a kind: "stream", or a MIME type."""
    found = []
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if output.output_type == "stream" and kind == "stream":
                found.append(output.text)
            elif kind in output.get("data", {}):
                found.append(output.data[kind])
    return found


def test_there_is_a_tour():
    assert [path.name for path in NOTEBOOKS] == ["instruments.ipynb", "planning.ipynb", "tour.ipynb"]


def shown(name: str) -> tuple[nbformat.NotebookNode, str]:
    """A notebook that was run, and what it printed."""
    notebook = executed(nbformat.read(ROOT / "notebooks" / name, as_version=4))
    return notebook, "".join(outputs(notebook, "stream"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_is_stored_without_outputs(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


def test_the_tour_runs_and_shows_what_it_says():
    notebook, printed = shown("tour.ipynb")
    assert "meets the target: True" in printed
    assert len(outputs(notebook, "image/svg+xml")) == 3
    assert len(outputs(notebook, "image/png")) == 2
    _, beside = outputs(notebook, "text/html")
    assert "True" in beside
    assert "False" not in beside  # every truth inside its interval
    # Rayleigh's closed form against the integration.
    assert float(printed.partition("largest difference of L/L0: ")[2].split()[0]) < 1e-5
    # Chloroform + ethanol boils at 59.3 °C with 93 wt% chloroform (Horsley, Azeotropic Data, from memory).
    line = next(line for line in printed.splitlines() if line.endswith("wt% chloroform") and line.count("°C, ") == 1)
    temperature, share = (float(part.split()[0]) for part in line.split(", "))
    assert temperature == pytest.approx(59.3, abs=0.6)
    assert share == pytest.approx(93.0, abs=2.0)


def table(html: str) -> pd.DataFrame:
    """A data frame as a notebook shows it, numbers as numbers."""
    head, *rows = [
        ["".join(cell.itertext()).strip() for cell in row if cell.tag in ("th", "td")]
        for row in ElementTree.fromstring(html[html.index("<table") : html.index("</table>") + 8]).iter("tr")
    ]
    frame = pd.DataFrame([row[1:] for row in rows], columns=head[1:])
    return frame.apply(lambda column: pd.to_numeric(column, errors="coerce"))


def test_the_run_finds_what_was_planted_in_its_instruments():
    notebook, printed = shown("instruments.ipynb")
    assert len(outputs(notebook, "image/png")) == 1
    after = next(line for line in printed.splitlines() if line.startswith("after it"))
    low, high = map(float, re.findall(r"[+-][0-9.]+", after)[1:])
    assert low < -0.9 < high < 0.0  # the thermometer was made to read 0.9 K low
    assert high - low < 1.5  # of the 2 K before
    assert int(re.search(r"inside their intervals: (\d+)%", printed)[1]) >= 6 / 7 * 100 - 1
    # What parts 96.0 from 101.3 kPa in the standard atmosphere (US Standard Atmosphere 1976): 446 m.
    height = 44330.8 * (1.0 - (96.0 / 101.3) ** 0.190263)
    cause = printed[printed.index("readings at least as discordant") :].splitlines()[1]
    assert "sea-level" in cause
    low, high = map(float, re.search(r"\((\d+) to (\d+)\)", cause).groups())
    assert low < height < high


def test_the_plan_holds_to_closed_forms_and_to_the_true_still():
    notebook, printed = shown("planning.ipynb")
    assert len(outputs(notebook, "image/png")) == 1
    limits, compared, _ = map(table, outputs(notebook, "text/html"))
    fenske = limits["total reflux (Fenske)"]
    np.testing.assert_allclose(limits["reflux 50"], fenske, rtol=0, atol=0.005)
    assert (limits[["reflux 1", "reflux 5", "reflux 50"]].max(axis=1) <= fenske + 1e-4).all()
    assert compared["kept, g"].idxmax() == 0  # ranked by the mean, shown by the median
    assert ((compared["low"] <= compared["kept, g"]) & (compared["kept, g"] <= compared["high"])).all()
    assert "still head, reflux 0: no cut of 99 wt%" in printed
    # data/demo_column: 6 stages, reflux ratio 4.59 (its README.md)
    for name, true in (("stages", 6.0), ("reflux ratio", 4.59)):
        line = next(line for line in printed.splitlines() if line.startswith(name))
        low, high = map(float, re.search(r"\(([0-9.]+) to ([0-9.]+)\)", line).groups())
        assert low <= true <= high


def kernel(code: str) -> list[str]:
    """What a notebook of one cell prints."""
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(code)],
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
    )
    return outputs(executed(notebook), "stream")


def test_this_interpreter_runs_the_kernel():
    """The kernel named python3 is this environment's, not one that happens to be installed elsewhere."""
    (printed,) = kernel("import sys\nprint(sys.executable)")
    assert Path(printed.strip()).samefile(sys.executable)


def test_the_guard_refuses_other_machines():
    with pytest.raises(CellExecutionError, match="must not use the network"):
        kernel("import socket\nsocket.create_connection(('192.0.2.1', 80), timeout=1)")
