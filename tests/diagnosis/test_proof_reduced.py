"""A small part of the proof of planted faults (tests/proof/faults.py): truth from another model than the estimator's."""

from tests.proof import faults, faults_text

PAIR = ("dichloromethane", "chloroform")


def test_identifiable_faults_lead():
    """A bubble in the vessel that makes one density 19 kg/m3 too low; of one of 8 kg/m3 no reading would speak."""
    found = [faults.examine(case) for case in faults.cases(PAIR, "bubble", 1, 12)]
    assert found[0].case.size < -15.0
    assert all(f.kind_identifiable and f.kind_first and f.conflict and f.class_within(1) and f.told for f in found)


def test_sound_runs_raise_no_conflict_and_the_report_says_so():
    found = [faults.examine(case) for case in faults.cases(PAIR, "none", 1, 11)]
    assert not any(f.conflict for f in found)
    assert "No fault: 0 % of 1 runs raise a conflict." in faults_text.report(found)
