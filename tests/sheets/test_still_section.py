"""[still] in run.toml: what the column is said to be."""

import pytest

from fractionkit.errors import InputError
from fractionkit.sheets import load_run

RUN = """[run]
components = ["chloroform", "carbon tetrachloride"]
[pressure]
station = "98.6 kPa"
[still]
{}
"""


def _load(tmp_path, still):
    (tmp_path / "run.toml").write_text(RUN.format(still), encoding="utf-8")
    (tmp_path / "cuts.csv").write_text("cut,mass\nC1,100\n", encoding="utf-8")
    return load_run(tmp_path)


def test_stages_and_reflux_are_read(tmp_path):
    run = _load(tmp_path, 'stages = "5 ± 1"\nreflux = 3')
    assert run.still.stages.value == 5.0
    assert run.still.stages.u == pytest.approx(1.0 / 1.959964)
    assert run.still.reflux.value == 3.0
    assert run.still.reflux.u is None


@pytest.mark.parametrize(
    ("still", "expected"),
    [
        ('stages = "0.5"', "1 to 30 theoretical stages"),
        ('reflux = "-1"', "a reflux ratio"),
        ("plates = 5", "stages, reflux"),
        ("", "stages = "),
    ],
)
def test_faults_are_told(tmp_path, still, expected):
    with pytest.raises(InputError, match=expected):
        _load(tmp_path, still)


def test_nothing_is_said_without_the_section(tmp_path):
    (tmp_path / "run.toml").write_text(RUN.replace("[still]\n{}\n", ""), encoding="utf-8")
    (tmp_path / "cuts.csv").write_text("cut,mass\nC1,100\n", encoding="utf-8")
    assert load_run(tmp_path).still is None
