"""The picture of the README: the run chart of the binary demo run."""

from pathlib import Path

from fractionkit import assess, load_run
from fractionkit.figures import run_chart

ROOT = Path(__file__).resolve().parents[2]
PICTURE = "notebooks/run_chart.svg"


def picture() -> str:
    """SVG text."""
    return run_chart(assess(load_run(ROOT / "data" / "demo_binary"))) + "\n"
