"""What a diagnosis tells: readings that stand out, explanations with their probabilities, and what would settle it."""

from __future__ import annotations

from dataclasses import dataclass

# Kinds of reading: factor and offset from SI to what is shown, unit, decimals.
SHOWN = {
    "head temperature": (1.0, -273.15, "°C", 1),
    "first drop": (1.0, -273.15, "°C", 1),
    "pot temperature": (1.0, -273.15, "°C", 1),
    "dry point": (1.0, -273.15, "°C", 1),
    "density": (1e-3, 0.0, "g/mL", 4),
}


@dataclass(frozen=True)
class ReadingCheck:
    """One reading against what all other readings of its cut lead one to expect.

    cut, kind : where and what. observed, predicted, half_width : SI; half_width for 95 %. probability : of a reading at
    least as far away. stands_out : so improbable that one reading in all of the run would show it in 5 runs of 100.
    """

    cut: str
    kind: str
    observed: float
    predicted: float
    half_width: float
    probability: float
    stands_out: bool

    @property
    def text(self) -> str:
        """The check in words: "density of C5: 1.4712 g/mL, where the other readings lead one to expect 1.4832 ± 0.0021 g/mL"."""
        factor, offset, unit, digits = SHOWN.get(self.kind, (1.0, 0.0, "", 4))
        shown, expected = (f"{factor * value + offset:.{digits}f}" for value in (self.observed, self.predicted))
        after = f" {unit}" if unit else ""
        return (
            f"{self.kind} of {self.cut}: {shown}{after}, where the other readings lead one to expect {expected} ± "
            f"{factor * self.half_width:.{digits}f}{after}"
        )


@dataclass(frozen=True)
class Candidate:
    """One explanation.

    code : e.g. "sea-level pressure", "third component: ethanol", "azeotrope: ethanol + chloroform", "nothing wrong".
    text : one sentence. probability : posterior, over all explanations. size, low, high : of the fault with its 95 %
    interval in ``unit``, None where it has none. gain : log evidence over "nothing wrong", priors left out.
    tied : whether the readings give less than 20:1 between it and the best-supported one. action : what to do.
    """

    code: str
    text: str
    probability: float
    size: float | None
    low: float | None
    high: float | None
    unit: str
    gain: float
    tied: bool
    action: str


@dataclass(frozen=True)
class Cause:
    """Explanations that the readings do not tell apart and that ask for the same to be done.

    codes : of the `Candidate` explanations, most probable first. probability : of all together. text, action : in words.
    tied : whether the readings give less than 20:1 between it and the best-supported one.
    """

    codes: tuple[str, ...]
    text: str
    action: str
    probability: float
    tied: bool


@dataclass(frozen=True)
class Diagnosis:
    """What is wrong with a run's readings, if anything.

    consistency : probability of readings at least as discordant, if nothing is wrong. odds : how many times better all
    faults together explain the readings than "nothing wrong". conflict : whether the readings are at odds. candidates :
    most probable first; causes : the same, those that no reading tells apart put together. tell_apart : the measurement that
    would tell the leading two apart.
    """

    consistency: float
    odds: float
    conflict: bool
    readings: tuple[ReadingCheck, ...]
    candidates: tuple[Candidate, ...]
    causes: tuple[Cause, ...]
    tell_apart: str | None

    @property
    def leading(self) -> tuple[Candidate, ...]:
        """The most probable explanation and those that the readings cannot tell from it."""
        first = self.candidates[0]
        return (first, *(c for c in self.candidates[1:] if first.tied and c.tied and c.code != "nothing wrong"))
