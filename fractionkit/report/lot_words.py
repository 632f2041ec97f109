"""What the lot report and the bottle label say, as short texts."""

from __future__ import annotations

import math
import os.path
from collections.abc import Iterable
from dataclasses import dataclass

from fractionkit.figures.labels import plain
from fractionkit.grades.attributes import attribute_named, title_of
from fractionkit.grades.model import AttributeVerdict, GradeVerdict
from fractionkit.grades.sample import COMPUTED, entered_result
from fractionkit.grades.words import result_text, rule_text
from fractionkit.quantities import format_mass, format_probability, format_with_half_width
from fractionkit.release.model import Left, MadeLot, Parent
from fractionkit.report.words import goal, mean_composition, sentence
from fractionkit.substances.cautions import hazard_statements

RECLAIMED = (
    "Reclaimed material: recovered by distillation from used solvent. No specification of a first manufacturer holds for "
    "it, and what was not tested is not known."
)
STANDARD_TESTS = ("water", "acidity", "free halogen", "stabiliser", "residue", "colour")
_NO_BREAK = "\u00a0"
UNNAMED = "any substance that the sheet does not name"
SIGNS = {"meets": "✓", "fails": "✗", "undecided": "?", "not tested": "–"}
#: Mass fractions from which a component that is not the target lends the lot its hazard statement: generic limits of
#: Regulation (EC) No 1272/2008 (CLP), Annex I, the stricter where it has two. Read: germ cells 1B (mixclass.net), toxic to
#: reproduction 1B and 2 (3.7.3, reachonline.eu), acute toxicity from 1 % on (mixclass.net; without adding up); the others
#: from memory. A classification is not claimed: that is for whoever puts the lot into other hands.
TOLD_FROM = {
    **dict.fromkeys(("H340", "H350", "H317", "H334", "H420"), 0.001),
    **dict.fromkeys(("H360", "H360D", "H360F"), 0.003),
    **dict.fromkeys(("H361", "H361d", "H361f"), 0.03),
    **dict.fromkeys(("H315", "H319", "H304", "H411"), 0.10),
    **dict.fromkeys(("H335", "H336"), 0.20),
    "H412": 0.25,
}
TOLD_OTHERWISE = 0.01
#: Hazard statements whose signal word is Danger; those without one; all others have Warning. Label elements of
#: Regulation (EC) No 1272/2008, Annex I, from memory.
DANGER = frozenset(
    ("H224", "H225", "H270", "H300", "H301", "H304", "H310", "H311", "H314", "H318", "H330", "H331", "H334", "H340", "H350",
     "H360", "H370", "H372", "H301+H311+H331")
)  # fmt: skip
NO_SIGNAL = frozenset(("H411", "H412", "H413", "EUH066"))


@dataclass(frozen=True)
class Hazard:
    """One hazard statement of a lot: code, words, and the component it comes from where that is not the target."""

    code: str
    words: str
    component: str


def mass(lot: MadeLot) -> str:
    """Mass with its 95 % half-width; to a tenth of a gram where nothing is known of that."""
    if not lot.mass_u > 0:
        return format_mass(lot.mass)
    return format_with_half_width(lot.mass, lot.mass_u, "mass")


def tone(lot: MadeLot) -> str:
    """The colour of the answer: "yes" or "no"."""
    return "yes" if lot.meets_target else "no"


def wanted(lot: MadeLot) -> str:
    """What was asked for, "99 wt% tetrachloroethylene"."""
    return f"{goal(lot.purity).removesuffix(' %')} wt% {lot.target}"


def headline(lot: MadeLot) -> str:
    """The answer in a few words."""
    return f"✓ Meets {wanted(lot)}" if lot.meets_target else f"✗ Does not meet {wanted(lot)}"


def verdict(lot: MadeLot) -> str:
    """The answer in a sentence."""
    chance = format_probability(lot.probability_meets_target, spoken=True)
    asked = goal(lot.confidence)
    risk = "" if not lot.meets_target else f" The risk that it is accepted falsely is {risk_text(lot)}."
    return f"The probability that it holds at least {wanted(lot)} is {chance}; {asked} was asked for.{risk}"


def risk_text(lot: MadeLot) -> str:
    """Probability that a lot that is accepted does not conform."""
    return _risk(1.0 - lot.probability_meets_target, spoken=True)


def _risk(probability: float, *, spoken: bool = False) -> str:
    """A risk in per cent, rounded up to a tenth as its counterpart is cut off: 95.0 % and 5.0 %."""
    up = math.ceil(1000 * probability - 1e-9) / 1000
    return format_probability(max(up, 0.001) if probability >= 0.001 else probability, spoken=spoken)


def origin(parent: Parent | Left) -> str:
    """What a cut or bottle was taken out of: the title of the run, with its sheet, or the shelf."""
    flat = plain(parent.origin)
    if flat in ("", "shelf"):
        return f"Shelf: {title}" if (title := plain(parent.title)) else "Shelf"
    flat = os.path.normpath(flat)
    return f"{title} ({flat})" if (title := plain(parent.title)) else flat


def part(parent: Parent) -> str:
    """How much of a cut or bottle went in: "all", "62 %"."""
    return "all" if parent.part > 0.9995 else f"{100 * parent.part:.3g} %"


def parent_composition(parent: Parent, components: tuple[str, ...]) -> list[tuple[str, str]]:
    """Component and interval text of a parent."""
    return mean_composition(parent.composition, components)


def tests(lot: MadeLot) -> list[tuple[str, str, str]]:
    """Attribute, result, method of each test that was entered."""
    return [
        (
            sentence(title_of(attribute_named(test.attribute))),
            result_text(entered_result(test)),
            plain(test.method) or "method not told",
        )
        for test in lot.tests
    ]


def not_tested(lot: MadeLot) -> list[str]:
    """What nothing is known of: the usual tests and those that a grade demands, without those entered.

    Stabiliser that was added again was weighed in, so it does not count as unknown.
    """
    entered = {attribute_named(test.attribute).lower() for test in lot.tests}
    entered |= {"stabiliser"} if lot.stabiliser.added else set()
    demanded = (
        attribute_named(line.attribute)
        for grade in lot.grades
        for line in grade.attributes
        if line.verdict == "not tested"
    )
    names = [name for name in dict.fromkeys((*STANDARD_TESTS, *demanded)) if name.lower() not in entered]
    return [*("residue on evaporation" if name == "residue" else plain(name) for name in names), UNNAMED]


def usual_not_tested(lot: MadeLot) -> list[str]:
    """Of `not_tested`, what belongs on every bottle: without what only some grade demands."""
    usual = {"residue on evaporation" if name == "residue" else name for name in STANDARD_TESTS}
    return [name for name in not_tested(lot) if name in usual]


def claimed(lot: MadeLot) -> list[GradeVerdict]:
    """The grades that the lot may claim."""
    return [grade for grade in lot.grades if grade.claimed]


def claim(grade: GradeVerdict) -> str:
    """Whether a grade may be claimed; what of it was computed and not measured; else what is missing."""
    if not grade.claimed:
        return f"Not claimed. {sentence('; '.join(grade.missing))}."
    computed = [line.attribute for line in grade.attributes if line.method.startswith(COMPUTED)]
    beside = f" Computed, not measured: {plain(', '.join(computed))}." if computed else ""
    return f"Every attribute is met: it may be claimed.{beside}"


def grade_status(grade: GradeVerdict) -> str:
    """Where a grade comes from and how that is known."""
    known = "" if grade.status == "our own" else f" ({plain(grade.status)})"
    return f"{sentence(grade.source)}{known}."


def grade_rule(grade: GradeVerdict) -> str:
    """The decision rule of a grade, in a sentence."""
    return sentence(rule_text(grade.rule, grade.confidence)) + "."


def chance(line: AttributeVerdict) -> str:
    """Probability of conformity and, of a line that is met, the risk of false acceptance."""
    if line.probability is None:
        return "–"
    text = format_probability(line.probability).replace(" ", _NO_BREAK)
    if line.false_accept is None:
        return text
    return f"{text} / {_risk(line.false_accept)}".replace(" %", f"{_NO_BREAK}%").replace("< ", f"<{_NO_BREAK}")


def line_remark(line: AttributeVerdict, grade: GradeVerdict) -> str:
    """What there is to say of a line: its note, and its source where that is not the grade's."""
    told = [sentence(line.note).rstrip(".") + "."] if line.note else []
    if line.source != grade.source:
        told.append(f"Limit: {plain(line.source)} ({plain(line.status)}).")
    elif line.status and line.status != grade.status:
        told.append(f"Limit {plain(line.status)}.")
    return " ".join(told)


def hazards(lot: MadeLot) -> list[Hazard]:
    """Hazard statements of the target, then those that other components add: as much as there may be of them."""
    found = {said.code: Hazard(said.code, said.words, "") for said in hazard_statements(lot.target)}
    for name in lot.components:
        if name == lot.target:
            continue
        for said in hazard_statements(name):
            if lot.composition[name].high >= TOLD_FROM.get(said.code, TOLD_OTHERWISE):
                found.setdefault(said.code, Hazard(said.code, said.words, name))
    return list(found.values())


def signal_word(codes: Iterable[str]) -> str:
    """Danger, Warning, or nothing where no statement carries a signal word."""
    seen = [code for code in codes if code not in NO_SIGNAL]
    return "" if not seen else "Danger" if any(code in DANGER for code in seen) else "Warning"
