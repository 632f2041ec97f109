"""What distilling again does not part: said of the run, and no reason to distil a cut again."""

from fractionkit import assess, load_run

HEAD = """[run]
title = "Invented"
components = [{components}]

[pressure]
station = "101.3 kPa"

[thermometer]
bias = "0.5 °C"
repeat = "0.2 °C"

[density]
bias = "0.0005 g/mL"
repeat = "0.0005 g/mL"

[target]
component = "{target}"
purity = "99 wt%"
"""


def assessed(folder, components, target, rows):
    listed = ", ".join(f'"{name}"' for name in components)
    (folder / "run.toml").write_text(HEAD.format(components=listed, target=target), encoding="utf-8")
    lines = ["cut,head_start,head_end,mass,density,density_temp", *rows]
    (folder / "cuts.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return assess(load_run(folder))


def azeotrope(found):
    return [flag.text for flag in found.flags if flag.code == "azeotrope"]


def test_the_azeotrope_is_named_and_not_distilled_again(tmp_path):
    """Chloroform + methanol: 87.4 wt% chloroform, 53.4 °C at 101.3 kPa (data/checks/azeotropes.csv).

    Of 1.479 and 0.7914 g/mL at 20 °C 87.4 wt% has 1.334 g/mL if volumes add.
    """
    rows = ["C1,53.4,53.4,200,1.334,20.0", "C2,53.4,53.5,200,1.334,20.0", "C3,60.9,61.1,100,1.474,20.0"]
    found = assessed(tmp_path, ("chloroform", "methanol"), "chloroform", rows)
    (text,) = azeotrope(found)
    assert "about 87 wt% chloroform, 53." in text
    assert "C1 and C2 are about this mixture" in text
    assert "wash the methanol out with water" in text
    assert [cut.decision for cut in found.cuts[:2]] == ["recycle", "recycle"]
    assert all("distilling again leaves it as it is" in cut.reason for cut in found.cuts[:2])
    assert "azeotrope" not in found.cuts[2].reason


def test_beyond_the_azeotrope_no_distilling_helps(tmp_path):
    """Chloroform + acetone boils highest at 78 wt% chloroform (data/checks/azeotropes.csv): with less, acetone goes first
    and the pot stops there. For acetone as the target the same cuts are on the right side."""
    rows = ["C1,62.0,62.4,200,1.093,20.0", "C2,62.4,62.9,200,1.12,20.0"]  # 55 to 60 wt% chloroform
    found = assessed(tmp_path, ("chloroform", "acetone"), "chloroform", rows)
    (text,) = azeotrope(found)
    assert "lie on acetone's side of it" in text
    assert all("distilling again gives at most that" in cut.reason for cut in found.cuts)
    other = assessed(tmp_path, ("chloroform", "acetone"), "acetone", rows)
    assert azeotrope(other) == []


def test_no_azeotrope_no_word(tmp_path):
    rows = ["C1,62.0,63.0,200,1.49,20.0", "C2,63.0,65.0,200,1.51,20.0"]
    assert azeotrope(assessed(tmp_path, ("chloroform", "carbon tetrachloride"), "chloroform", rows)) == []


def test_more_water_than_dissolves_stands_in_two_layers(tmp_path):
    """Dichloromethane dissolves about 0.2 wt% water; 1.305 g/mL would be more than 2 wt% of it."""
    found = assessed(tmp_path, ("dichloromethane", "water"), "dichloromethane", ["C1,38.1,38.2,300,1.3050,20.0"])
    assert "two_layers" in [flag.code for flag in found.cuts[0].flags]
    (text,) = azeotrope(found)
    assert "boil together as two liquids" in text
    assert "C1 holds more water than dissolves" in text
    assert found.lot is not None
    assert found.lot.cuts == ()
    assert "two layers: part them" in found.cuts[0].reason
