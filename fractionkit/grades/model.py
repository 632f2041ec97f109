"""A grade, its limits, what is known of a lot, and the verdict on each attribute. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fractionkit.quantities import Quantity

Array = NDArray[np.float64]
Finding = Literal["meets", "fails", "undecided", "not tested"]
Rule = Literal["guarded", "simple", "rounded"]
#: How a limit is known. "our own" is a class of this project, without authority.
STATUSES = ("read in a copy", "from memory", "our own")


@dataclass(frozen=True)
class Limit:
    """What a grade demands of one attribute: a window, words that are accepted, or neither.

    low, high : limits as typed, SI inside; a window includes its ends. span : K, the widest boiling range. accept : words
    that meet it. temperature : K at which a density in g/mL holds. substance : of a stabiliser, canonical name. Where
    nothing at all is given the source demands the test and its limit is not quoted here: only "passes" meets it.
    """

    attribute: str
    low: Quantity | None
    high: Quantity | None
    span: Quantity | None
    accept: tuple[str, ...]
    temperature: float | None
    substance: str | None
    source: str
    status: str
    note: str


@dataclass(frozen=True)
class Grade:
    """A grade of one substance. components : canonical names that it is for, empty for any. file : where it stands."""

    name: str
    title: str
    components: tuple[str, ...]
    limits: tuple[Limit, ...]
    source: str
    status: str
    note: str
    file: str


@dataclass(frozen=True)
class Result:
    """What is known of one attribute, in SI: draws, a normal value, an interval, or words.

    draws : (D,), or (D, 2) first drop and dry point of a boiling range. value, u : one number, or two for a range; u None
    where nothing is known of the uncertainty. interval : ends between which the value lies, all equally probable
    (JCGM 101:2008, 6.4.2), like what a test "below 0.005 wt%" leaves. words : what was seen. kind : of `quantities.KINDS`.
    basis : temperatures (sample, water) in °C of a specific gravity; temperature : K of a density. Both only tell what
    was measured; `sample.measured_as` brings it to what the limit is stated for.
    """

    method: str
    kind: str = ""
    draws: Array | None = None
    value: tuple[float, ...] = ()
    u: tuple[float | None, ...] = ()
    interval: tuple[float, float] | None = None
    words: str = ""
    basis: tuple[float, float] | None = None
    temperature: float | None = None


@dataclass(frozen=True)
class AttributeVerdict:
    """One line of the table attribute | method | result ± U | limit | rule | verdict.

    result, limit : as printed, with unit. probability : that the true value conforms, None where not tested or not a
    number. false_accept : the risk that goes with the verdict "meets" under this rule (1 - probability), None else.
    note : a sentence on this line, or "". status : of the limit, one of `STATUSES`.
    """

    attribute: str
    method: str
    result: str
    limit: str
    rule: Rule
    verdict: Finding
    probability: float | None
    false_accept: float | None
    source: str
    note: str = ""
    status: str = ""


@dataclass(frozen=True)
class GradeVerdict:
    """A grade is claimed only when all its attributes are met; otherwise ``missing`` says what is."""

    grade: str
    title: str
    claimed: bool
    attributes: tuple[AttributeVerdict, ...]
    missing: tuple[str, ...]
    source: str
    status: str  # one of `STATUSES`
    note: str = ""
    rule: Rule = "guarded"
    confidence: float = 0.95
