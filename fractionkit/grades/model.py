"""A grade, its limits, and the verdict on each attribute of a lot. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Finding = Literal["meets", "fails", "undecided", "not tested"]
Rule = Literal["guarded", "simple", "rounded"]


@dataclass(frozen=True)
class AttributeVerdict:
    """One line of the table attribute | method | result ± U | limit | rule | verdict.

    result, limit : as printed, with unit. probability : that the true value conforms, None where not tested or not a
    number. false_accept : the risk that goes with the verdict "meets" under this rule (1 - probability), None else.
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


@dataclass(frozen=True)
class GradeVerdict:
    """A grade is claimed only when all its attributes are met; otherwise ``missing`` says what is."""

    grade: str
    title: str
    claimed: bool
    attributes: tuple[AttributeVerdict, ...]
    missing: tuple[str, ...]
    source: str
    status: str  # "read in a copy" | "from memory" | "our own"
