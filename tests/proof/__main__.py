"""``python -m tests.proof``: the whole study on two processors, written to tests/proof/report.md.

With ``--keep FOLDER`` what is done is kept there, and a run that was broken off is taken up again.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from pathlib import Path

REPORT = Path(__file__).with_name("report.md")
ROOT = Path(__file__).parents[2]
SEED = 78  # not looked at while the estimator was made
PARTS = ("truth", "control", "more")


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the study and write the report."""
    parser = argparse.ArgumentParser(prog="python -m tests.proof", description=__doc__)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--scale", type=float, default=1.0, help="runs a mixture, as a multiple of the report's")
    parser.add_argument("--report", type=Path, default=REPORT)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", type=Path, default=None, help="folder for what is done, taken up again from there")
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--only", default=None, help='one mixture, "chloroform + ethanol"')
    options = parser.parse_args(arguments)
    from tests.proof import jobs, report

    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
    planned = jobs.planned(options.seed, options.scale, options.parts, options.only)
    found = jobs.run(planned, options.workers, options.keep)
    truth, control, more = jobs.cuts_of(found, "truth"), jobs.cuts_of(found, "control"), jobs.further_of(found)
    text = report.text(truth, control, more, _command(options))
    options.report.write_text(text, encoding="utf-8")


def _command(options: argparse.Namespace) -> str:
    """What wrote the report: seed and scale, and what is not as usual."""
    told = f"python -m tests.proof --seed {options.seed} --scale {options.scale:g}"
    if options.parts != list(PARTS):
        told += " --parts " + " ".join(options.parts)
    if options.only is not None:
        told += f' --only "{options.only}"'
    if options.report != REPORT:
        inside = options.report.resolve().is_relative_to(ROOT)
        told += f" --report {options.report.resolve().relative_to(ROOT) if inside else options.report.name}"
    return told


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main()
