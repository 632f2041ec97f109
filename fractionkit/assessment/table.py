"""The assessment as a table for those who go on in Python: a pandas DataFrame, one row a cut."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from fractionkit.assessment.model import Assessment


def as_table(assessment: Assessment) -> pd.DataFrame:
    """One row a cut, index ``cut``.

    Columns: mass_g, decision, probability_meets_target, and for each component its estimate with the ends of the 95 %
    interval as mass fractions (``chloroform``, ``chloroform_low``, ``chloroform_high``).
    """
    import pandas as pd  # here, because it takes longer to import than a run takes to assess

    rows = []
    for cut in assessment.cuts:
        row: dict[str, object] = {
            "cut": cut.name,
            "mass_g": None if cut.mass is None else 1e3 * cut.mass,
            "decision": cut.decision,
            "probability_meets_target": cut.probability_meets_target,
        }
        for name, found in cut.composition.items():
            row |= {name: found.estimate, f"{name}_low": found.low, f"{name}_high": found.high}
        rows.append(row)
    return pd.DataFrame(rows).set_index("cut")
