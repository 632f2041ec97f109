"""From a run to its diagnosis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import Evidence, correct
from fractionkit.diagnosis.ground import Ground, ground
from fractionkit.diagnosis.group import TIE, groups, margin, told
from fractionkit.diagnosis.hypothesis import Result
from fractionkit.diagnosis.model import Candidate, Cause, Diagnosis, ReadingCheck
from fractionkit.diagnosis.predictive import consistency, reading_checks
from fractionkit.diagnosis.rank import Ranking, rank
from fractionkit.diagnosis.tell import best_split
from fractionkit.diagnosis.words import NOTHING, interval, sentence
from fractionkit.mixture import Mixture
from fractionkit.sheets import Run

Array = NDArray[np.float64]

# A conflict: all faults together explain the readings 20 times better than "nothing wrong" (which at most one sound
# run in 20 shows, whatever the priors: Markov's inequality), or the readings scatter as one sound run in 200 does.
CONFLICT_ODDS = 20.0
CONFLICT_CONSISTENCY = 0.005
LIKELY = 0.05  # probability from which "nothing wrong" counts as an explanation to tell apart
CLEARLY_HIGHER, CLEARLY_LIGHTER = 1.5, 3.0  # K above, kg/m3 below the heaviest boiler named
SHOWN = 0.005  # least probability of an explanation to be told


def diagnose(run: Run, mixture: Mixture | None = None) -> Diagnosis:
    """What is wrong with a run's readings, if anything.

    Raises
    ------
    InputError
        for readings that no bench can show.
    """
    mixed = mixture if mixture is not None else Mixture(run.components)
    evidence = correct(run, mixed).evidence
    station = run.pressure.station is not None and run.pressure.sea_level is None
    gravity = bool(np.any(run.cuts.density_kind == "sg"))
    correction = run.thermometer.correction
    return diagnose_evidence(mixed, evidence, run.cuts.mass, station=station, gravity=gravity, correction=correction)


def diagnose_evidence(
    mixture: Mixture,
    evidence: Evidence,
    mass: Array | None = None,
    *,
    station: bool = True,
    gravity: bool = False,
    correction: float = 0.0,
) -> Diagnosis:
    """Diagnose corrected readings.

    mass : (cuts,) kg, NaN where unknown; tells how a third component would run through the cuts. station : the pressure
    was entered as a station value. gravity : densities were entered as specific gravity. correction : K,
    the thermometer's, already in the readings.
    """
    base = ground(mixture, evidence, mass)
    ranking = rank(base, station=station, gravity=gravity, correction=correction)
    agreement = consistency(base)
    candidates = tell(ranking)
    conflict = at_odds(ranking, agreement)
    split = _apart(base, ranking) if conflict else None
    return Diagnosis(
        agreement,
        float(np.exp(min(ranking.against, 700.0))),
        conflict,
        reading_checks(base),
        candidates,
        causes(ranking, mixture, heavy_kind(base)),
        split,
    )


def at_odds(ranking: Ranking, agreement: float) -> bool:
    """Whether the readings raise a conflict."""
    return bool(ranking.against > np.log(CONFLICT_ODDS) or agreement < CONFLICT_CONSISTENCY)


def _apart(base: Ground, ranking: Ranking) -> str | None:
    """The measurement that tells the leading two explanations apart, in words."""
    leading = [
        result
        for result, probability in zip(ranking.results, ranking.probability, strict=True)
        if result.hypothesis.code != NOTHING or probability > LIKELY
    ][:2]
    if len(leading) < 2:
        return None
    names = " and ".join(_name(result) for result in leading)
    split = best_split(base, *leading)
    if split is None:
        return f"No single further measurement of the usual kind would tell {names} apart."
    measurement = split.text[0].upper() + split.text[1:]
    times = f"{split.separation:.0f}" if split.separation >= 3.0 else f"{split.separation:.1f}"
    return (
        f"{measurement} would tell {names} apart: the values that they lead one to expect differ by {times} times what the "
        "measurement can tell."
    )


def _name(result: Result) -> str:
    """A component by its name, another explanation in quotation marks."""
    code = result.hypothesis.code
    return result.hypothesis.cause if code.startswith("third component: ") else f'"{code}"'


def tell(ranking: Ranking) -> tuple[Candidate, ...]:
    """Explanations in words, most probable first."""
    nothing = next(r.log_evidence for r in ranking.results if r.hypothesis.code == NOTHING)
    least = max(r.log_evidence for r in ranking.results) - margin(ranking.results)
    found = []
    for result, probability in zip(ranking.results, ranking.probability, strict=True):
        text, action = sentence(result)
        size = interval(result.best)
        low, high = (size[1], size[2]) if size is not None else (None, None)
        tied = result.log_evidence > least
        found.append(
            Candidate(
                result.hypothesis.code,
                text,
                float(probability),
                None if size is None else size[0],
                low,
                high,
                result.hypothesis.unit,
                result.log_evidence - nothing,
                tied,
                action,
            )
        )
    # Where much is gained the probabilities are sharper than the model deserves: what is tied is told all the same.
    return tuple(
        c
        for i, c in enumerate(found)
        if i < 3 or c.probability > SHOWN or (c.tied and c.gain > TIE) or c.code == NOTHING
    )


def causes(ranking: Ranking, mixture: Mixture, hint: str = "") -> tuple[Cause, ...]:
    """Explanations put together where no reading tells them apart, most probable first.

    hint : said of a component that the sheet does not name; see `heavy_kind`.
    """
    least = max(r.log_evidence for r in ranking.results) - margin(ranking.results)
    share = {r.hypothesis.code: float(p) for r, p in zip(ranking.results, ranking.probability, strict=True)}
    found = []
    for group in groups(ranking.results):
        codes = tuple(r.hypothesis.code for r in group)
        probability = sum(share[code] for code in codes)
        text, action = told(group, mixture)
        if codes[0].startswith("third component"):
            text += hint
        found.append(Cause(codes, text, action, probability, any(r.log_evidence > least for r in group)))
    return tuple(c for i, c in enumerate(found) if i < 3 or c.probability > SHOWN or c.tied)


def heavy_kind(base: Ground) -> str:
    """What kind of liquid raises the head above all that the sheet names, by the density beside it; "" where none does.

    What boils higher and makes a cut lighter than the heaviest boiler named is no chlorinated solvent: those of higher boiling
    point are denser than 1.1 g/mL, hydrocarbons lighter than 0.9 (handbooks).
    """
    evidence = base.evidence
    boiling = base.mixture.bubble_point(np.eye(base.mixture.n), evidence.pressure)[0]
    last = int(np.argmax(boiling))
    with np.errstate(invalid="ignore"):
        high = np.fmax(evidence.head_start.value, evidence.head_end.value) > boiling[last] + CLEARLY_HIGHER
    read = high & np.isfinite(evidence.density.value)
    if not read.any():
        return ""
    pure = base.mixture.density(np.eye(base.mixture.n)[[last]], evidence.density_temperature[read])
    away = float(np.median(evidence.density.value[read] - pure))
    name = base.mixture.names[last]
    if away > -CLEARLY_LIGHTER:
        return ""
    return (
        f" It boils higher than {name} and makes it lighter: that is the sign of a hydrocarbon such as white spirit, kerosene "
        "or oil, which the catalogue may not hold."
    )


def check_readings(mixture: Mixture, evidence: Evidence) -> tuple[ReadingCheck, ...]:
    """The posterior predictive check of every reading alone, without seeking explanations."""
    return reading_checks(ground(mixture, evidence))
