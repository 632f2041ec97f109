"""Pictures of an assessed run, each a function from an `Assessment` to one SVG text.

matplotlib is imported when the first one is drawn.
"""

from fractionkit.figures.composition_chart import composition_chart
from fractionkit.figures.density_chart import density_chart
from fractionkit.figures.run_chart import run_chart

__all__ = ["composition_chart", "density_chart", "run_chart"]
