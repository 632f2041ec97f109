"""The verdict on each attribute of a grade, and whether the grade may be claimed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fractionkit.errors import Fault, InputError
from fractionkit.grades import words
from fractionkit.grades.conformity import decide
from fractionkit.grades.file import built_in
from fractionkit.grades.model import AttributeVerdict, Finding, Grade, GradeVerdict, Limit, Result, Rule
from fractionkit.grades.sample import Sample
from fractionkit.sheets.faults import nearest

PASSES = ("passes", "passed", "pass", "complies", "conforms", "meets")
_OPPOSITE = ("fails", "failed", "fail", "does not pass", "does not comply", "present", "positive", "detected")


def judge(
    grade: Grade, results: Mapping[str, Result], *, rule: Rule = "guarded", confidence: float = 0.95
) -> GradeVerdict:
    """Hold results against a grade.

    Parameters
    ----------
    grade : Grade
        The limits.
    results : mapping of str to Result
        What is known, by attribute or `key_of` the limit, in the terms of the limits (SI; a density at the limit's
        temperature and basis).
    rule : {"guarded", "simple", "rounded"}
        The decision rule, see `conformity.decide`.
    confidence : float
        That a guarded verdict asks for, 0.5 to 1.

    Returns
    -------
    GradeVerdict
        Claimed only where every attribute is met.

    """
    lines = tuple(
        _line(limit, results.get(key_of(limit), results.get(limit.attribute)), rule, confidence)
        for limit in grade.limits
    )
    missing = tuple(words.short_of(line, confidence) for line in lines if line.verdict != "meets")
    return GradeVerdict(
        grade=grade.name,
        title=grade.title,
        claimed=not missing,
        attributes=lines,
        missing=missing,
        source=grade.source,
        status=grade.status,
        note=grade.note,
        rule=rule,
        confidence=confidence,
    )


def judge_lot(names: Sequence[str], sample: Sample, extra: Sequence[Grade] = ()) -> tuple[GradeVerdict, ...]:
    """Verdicts on the grades named, or on every grade there is for the sample's component.

    Parameters
    ----------
    names : sequence of str
        Names of grades; empty for all that are for this component.
    sample : Sample
        The lot.
    extra : sequence of Grade
        The user's own (`load_grades`); one with the name of a built-in grade takes its place.

    Raises
    ------
    InputError
        for a name that is not known, or a grade of another substance; listing those known.
    """
    return tuple(
        judge(
            grade,
            {key_of(limit): found for limit in grade.limits if (found := sample.result(limit)) is not None},
            rule=sample.rule,
            confidence=sample.confidence,
        )
        for grade in chosen(names, sample.component, extra)
    )


def key_of(limit: Limit) -> str:
    """The attribute of a limit, with the substance where there is one: "stabiliser: ethanol"."""
    return f"{limit.attribute}: {limit.substance}" if limit.substance else limit.attribute


def known(component: str | None = None, extra: Sequence[Grade] = ()) -> tuple[str, ...]:
    """Names of the grades for a component (canonical name), or of all; the user's own first."""
    return tuple(grade.name for grade in all_grades(component, extra))


def all_grades(component: str | None = None, extra: Sequence[Grade] = ()) -> tuple[Grade, ...]:
    """The grades for a component, or all; those for one substance before those for any."""
    own = {grade.name for grade in extra}
    every = [*extra, *(grade for grade in built_in() if grade.name not in own)]
    fit = [g for g in every if component is None or not g.components or component in g.components]
    return tuple(sorted(fit, key=lambda grade: not grade.components))


def chosen(names: Sequence[str], component: str | None, extra: Sequence[Grade] = ()) -> tuple[Grade, ...]:
    """The grades named, in that order; see `judge_lot`."""
    fit = {grade.name: grade for grade in all_grades(component, extra)}
    if not names:
        return tuple(fit.values())
    faults = []
    for name in names:
        if name not in fit:
            whose = "" if component is None else f" for {component}"
            expected = f"a grade{whose}: {', '.join(fit) or 'there is none'}{nearest(name, fit)}"
            faults.append(Fault(name, expected))
    if faults:
        raise InputError(faults)
    return tuple(fit[name] for name in dict.fromkeys(names))


def _line(limit: Limit, result: Result | None, rule: Rule, confidence: float) -> AttributeVerdict:
    blank = AttributeVerdict(
        attribute=words.attribute_title(limit),
        method="",
        result="",
        limit=words.limit_text(limit),
        rule=rule,
        verdict="not tested",
        probability=None,
        false_accept=None,
        source=limit.source,
        note=limit.note,
        status=limit.status,
    )
    if result is None:
        return blank
    tested = replace(blank, method=result.method, result=words.result_text(result))
    if result.words:
        verdict, note = _words_verdict(result.words, limit)
        return replace(tested, verdict=verdict, note=note or limit.note)
    if limit.low is None and limit.high is None and limit.span is None:
        wants = f"the grade accepts the words {words.limit_text(limit)}"
        if not limit.accept:
            wants = "its limit is not quoted here: hold the result against the source and enter passes or fails"
        return replace(tested, verdict="undecided", note=wants)
    verdict, chance = decide(result, limit, rule, confidence)
    if chance is None and rule == "guarded":
        note = "the result has no ±, so nothing says how probable it is that it conforms"
        return replace(tested, verdict=verdict, note=note)
    risk = None if chance is None or verdict != "meets" else 1.0 - chance
    return replace(tested, verdict=verdict, probability=chance, false_accept=risk)


def _words_verdict(text: str, limit: Limit) -> tuple[Finding, str]:
    said = _bare(text)
    if said in PASSES or said in map(_bare, limit.accept):
        return "meets", ""
    if said in _OPPOSITE:
        return "fails", ""
    if limit.accept:
        return (
            "undecided",
            f"the grade accepts the words {' or '.join(limit.accept)}; passes and fails are understood too",
        )
    if limit.low is None and limit.high is None and limit.span is None:
        return "undecided", "passes or fails is understood: the limit stands in the source"
    return "undecided", "the grade wants a number, or passes or fails"


def _bare(text: str) -> str:
    return " ".join(text.lower().strip(" .").split())
