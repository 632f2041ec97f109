"""Pictures: whole, deterministic, safe against what users type, true to the numbers, small at any number of cuts."""

import re
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.figures import composition_chart, density_chart, run_chart
from fractionkit.figures.labels import MARKS, name_list, plain, short_names, shorten
from fractionkit.figures.thin import bin_starts, commonest, highest, lowest, middle, runs, spaced
from tests.report.sample import HOSTILE, TERNARY, bare, hostile, sample

PICTURES = (run_chart, composition_chart, density_chart)
SVG = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.fixture(params=["binary", "two", "ternary30", "many", "hostile", "no_target", "no_mass", "bare"])
def any_run(request):
    return {
        "binary": lambda: sample(),
        "two": lambda: sample(count=2),
        "ternary30": lambda: sample(TERNARY, count=30),
        "many": lambda: sample(count=300),
        "hostile": hostile,
        "no_target": lambda: sample(target=False),
        "no_mass": lambda: sample(masses=False),
        "bare": bare,
    }[request.param]()


def test_pictures_are_whole_harmless_and_fetch_nothing(any_run):
    allowed = {"svg", "g", "path", "text", "title", "desc", "defs", "use", "clipPath", "rect", "pattern", "tspan"}
    seen = []
    for draw in PICTURES:
        svg = draw(any_run)
        if not svg:
            assert any_run.curve is None
            continue
        root = ET.fromstring(svg)
        assert {element.tag.removeprefix(SVG) for element in root.iter()} <= allowed
        seen += [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
        for element in root.iter():
            for name, value in element.attrib.items():
                assert not name.startswith("on")
                assert "http" not in value
                if name.endswith("href"):
                    assert value.startswith("#")
        assert "http" not in re.sub(r'xmlns(:xlink)?="[^"]*"', "", svg)
    assert len(seen) == len(set(seen)), "ids are unique in a page that holds all three"


def test_pictures_say_in_words_what_they_show():
    for draw in PICTURES:
        root = ET.fromstring(draw(sample()))
        assert root.attrib["role"] == "img"
        named = root.attrib["aria-labelledby"].split()
        said = {element.attrib["id"]: element.text for element in root if element.tag in {f"{SVG}title", f"{SVG}desc"}}
        assert list(said) == named
        assert all(said.values())


def test_same_run_gives_the_same_text_and_style_is_put_back():
    import matplotlib

    before = dict(matplotlib.rcParams)
    for draw in PICTURES:
        assert draw(sample()) == draw(sample())
    assert dict(matplotlib.rcParams) == before


@pytest.mark.parametrize("count", [2, 10, 30])
def test_every_cut_is_named_where_there_is_room(count):
    names = {f"C{k + 1}" for k in range(count)}
    assert names <= set(texts(run_chart(sample(count=count))))
    assert names <= set(texts(composition_chart(sample(count=count))))


@pytest.mark.parametrize("count", [300, 10_000])
def test_many_cuts_stay_small_and_quick(count):
    assessment = sample(count=count)
    run_chart(sample(count=2))  # the import of matplotlib is not what is timed
    for draw in PICTURES:
        start = time.process_time()
        svg = draw(assessment)
        assert time.process_time() - start < 2.0
        assert len(svg) < 400_000
        assert len(texts(svg)) < 130


def test_many_cuts_say_that_names_are_left_out():
    assert any("names shown" in text for text in texts(run_chart(sample(count=300))))
    assert any("drawn in groups" in text for text in texts(composition_chart(sample(count=10_000))))


def test_what_a_user_typed_is_text_and_nothing_else():
    drawn = texts(composition_chart(hostile()))
    for name in HOSTILE:
        assert shorten(name, 13) in drawn
    assert "$x^2$" in texts(run_chart(sample(count=3, names=["$x^2$", "$\\frac{", "C3"])))
    assert "$\\frac{" in texts(composition_chart(sample(count=3, names=["$x^2$", "$\\frac{", "C3"])))


@settings(max_examples=12, deadline=None)
@given(st.text(max_size=30))
def test_any_name_gives_a_whole_picture(name):
    svg = run_chart(sample(count=2, names=[name, "C2"]))
    assert "C2" in texts(svg)
    assert not any(ord(sign) < 32 and sign not in "\n" for sign in svg)


def _scale(root: ET.Element, axis: str) -> np.ndarray:
    """(2,) slope and intercept from places in the picture to values, read from the printed tick labels."""
    places, values = [], []
    for tick in root.iter(f"{SVG}g"):
        if f"-{axis}tick_" not in tick.attrib.get("id", ""):
            continue
        use, label = next(tick.iter(f"{SVG}use"), None), next(tick.iter(f"{SVG}text"), None)
        if use is not None and label is not None:
            places.append(float(use.attrib[axis]))
            values.append(float((label.text or "").replace("−", "-")))
    assert len(values) >= 3
    return np.polyfit(places, values, 1)


def _vertices(path: str) -> np.ndarray:
    return np.array([[float(x), float(y)] for x, y in re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", path)])


def test_run_chart_draws_the_temperatures_and_masses_given():
    """Read the line back through the printed scales, as a person with a ruler would."""
    assessment = sample(count=4)
    root = ET.fromstring(run_chart(assessment))
    line = next(path for path in root.iter(f"{SVG}path") if "stroke-width: 1.6" in path.attrib.get("style", "")).attrib[
        "d"
    ]
    found = _vertices(line)
    x, y = np.polyval(_scale(root, "x"), found[:, 0]), np.polyval(_scale(root, "y"), found[:, 1])
    head = np.column_stack((assessment.readings.head_start, assessment.readings.head_end)).ravel() - 273.15
    edges = np.concatenate(([0.0], np.cumsum(assessment.readings.mass))) * 1000
    place = np.column_stack((edges[:-1], edges[1:])).ravel()
    # A straight stretch may be drawn without its middle points: what is drawn must lie on the line, ends included.
    np.testing.assert_allclose(np.interp(x, place, head), y, atol=0.1)
    np.testing.assert_allclose([x[0], x[-1], y[0], y[-1]], [0, place[-1], head[0], head[-1]], atol=1.0)


def test_composition_chart_draws_the_intervals_given():
    assessment = sample(count=9)
    panel = next(
        group
        for group in ET.fromstring(composition_chart(assessment)).iter(f"{SVG}g")
        if group.attrib.get("id") == "composition-axes_1"
    )
    labels = [text for text in panel.iter(f"{SVG}text") if re.fullmatch(r"\d+", text.text or "")]
    assert [text.text for text in labels] == ["0", "50", "100"]
    scale = np.polyfit([float(text.attrib["x"]) for text in labels], [0.0, 50.0, 100.0], 1)
    bars = [
        np.polyval(scale, _vertices(path.attrib["d"])[:, 0])
        for path in panel.iter(f"{SVG}path")
        if "stroke-width: 2" in path.attrib.get("style", "")
    ]
    estimates = [cut.composition[assessment.components[0]] for cut in assessment.cuts]
    wanted = [(100 * made.low, 100 * made.high) for made in estimates]
    np.testing.assert_allclose(sorted(map(tuple, bars)), sorted(wanted), atol=0.05)


def test_density_chart_draws_the_readings_given():
    assessment = sample(count=9)
    root = ET.fromstring(density_chart(assessment))
    upper = next(group for group in root.iter(f"{SVG}g") if group.attrib.get("id") == "density-axes_1")
    lower = next(group for group in root.iter(f"{SVG}g") if group.attrib.get("id") == "density-axes_2")
    marks = [
        (float(use.attrib["x"]), float(use.attrib["y"]))
        for group in upper.iter(f"{SVG}g")
        if re.fullmatch(r"density-line2d_\d+", group.attrib.get("id", ""))
        for use in group.iter(f"{SVG}use")
        if "fill: #" in use.attrib["style"] and "stroke-width: 0.5" in use.attrib["style"]
    ]
    percent, density = np.polyval(_scale(lower, "x"), [x for x, _ in marks]), [y for _, y in marks]
    found = np.column_stack((percent, np.polyval(_scale(upper, "y"), density)))
    known = np.isfinite(assessment.readings.density)
    target = [100 * cut.composition[assessment.curve.component].estimate for cut in assessment.cuts]
    given_ = np.column_stack((target, assessment.readings.density / 1000))[known]
    assert found.shape == given_.shape
    order, wanted = np.lexsort(found.T[::-1]), np.lexsort(given_.T[::-1])
    np.testing.assert_allclose(np.sort(found[:, 1]), np.sort(given_[:, 1]), atol=2e-4)
    np.testing.assert_allclose(found[order][:, 0], given_[wanted][:, 0], atol=0.2)


def labels_of(run) -> str:
    return " ".join(texts(density_chart(run)))


def test_ternary_density_chart_says_what_is_left_out():
    labels = " ".join(texts(density_chart(sample(TERNARY))))
    assert "1,2-dichloroethane left out" in labels
    assert "left out" not in " ".join(texts(density_chart(sample())))
    run = sample(TERNARY, count=30)
    share = np.array([cut.composition[TERNARY[0]].estimate for cut in run.cuts])[np.isfinite(run.readings.density)]
    assert f"{(share > 0.2).sum()} of 29 readings left out: over 20 wt% of other components" in labels_of(run)


def test_missing_readings_are_said():
    assert "no head temperature was recorded" in texts(run_chart(bare()))
    assert any("not every mass is known" in text for text in texts(run_chart(sample(masses=False))))
    nothing = np.full(9, np.nan)
    unread = replace(sample(), readings=replace(sample().readings, density=nothing))
    assert "no density was read" in texts(density_chart(unread))


def test_no_cuts_at_all_still_give_pictures():
    none = np.array([])
    empty = replace(sample(), cuts=(), readings=replace(sample().readings, **dict.fromkeys(
        ("head_start", "head_end", "density", "density_u", "mass"), none)))  # fmt: skip
    for draw in PICTURES:
        ET.fromstring(draw(empty))


def test_decisions_differ_by_more_than_colour():
    for kind in ("word", "hatch", "marker"):
        assert len({getattr(mark, kind) for mark in MARKS.values()}) == len(MARKS)
    assert {"keep", "recycle", "redistil", "waste"} <= set(texts(run_chart(sample())))


def test_import_is_light_and_pyplot_stays_out():
    code = (
        "import sys, fractionkit.figures as f\n"
        "assert 'matplotlib' not in sys.modules\n"
        "from tests.report.sample import sample\n"
        "f.run_chart(sample()); assert 'matplotlib.pyplot' not in sys.modules and 'matplotlib' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


def test_bins_and_runs():
    values = np.array([3.0, np.nan, 1.0, 2.0])
    starts = np.array([0, 2])
    np.testing.assert_array_equal(lowest(values, starts), [3.0, 1.0])
    np.testing.assert_array_equal(highest(values, starts), [3.0, 2.0])
    np.testing.assert_array_equal(middle(values, starts), [3.0, 1.5])
    np.testing.assert_array_equal(commonest(np.array([0, 2, 2, 1]), 3, np.array([0, 3])), [2, 1])
    first, after = runs(np.array([1, 1, 0, 2, 2]))
    np.testing.assert_array_equal(first, [0, 2, 3])
    np.testing.assert_array_equal(after, [2, 3, 5])


@given(st.integers(1, 5000))
def test_bins_cover_every_cut_once(count):
    starts = bin_starts(count)
    assert starts[0] == 0
    assert (np.diff(starts) > 0).all()
    assert starts[-1] < count
    assert starts.size <= 600


@given(st.lists(st.floats(0, 1000), max_size=200), st.floats(0.5, 200))
def test_labels_keep_their_distance(places, gap):
    rising = np.sort(np.array(places, dtype=float))
    chosen = rising[spaced(rising, gap)]
    assert (np.diff(chosen) >= gap * (1 - 1e-9)).all()
    assert chosen.size >= (1 if rising.size else 0)


@given(st.text(max_size=80), st.integers(1, 40))
def test_shortened_text_is_short_and_on_one_line(text, length):
    short = shorten(text, length)
    assert len(short) <= length
    assert short == plain(short)


def test_short_names_stay_distinct():
    pairs = ("1,2-dichloroethane", "1,2-dichloroethylene", "trans-1,2-dichloroethylene", "1,1,2-trichloroethane")
    for length in (6, 8, 12, 16, 30):
        short = short_names(pairs, length)
        assert len(set(short)) == len(pairs)
        assert max(map(len, short)) <= length
    assert short_names(("water", "acetone"), 12) == ("water", "acetone")


def test_name_list():
    assert name_list([]) == "none"
    assert name_list(["C1"]) == "C1"
    assert name_list(["C1", "C2", "C3"]) == "C1, C2 and C3"
    assert name_list([f"C{k}" for k in range(1, 301)], 3) == "C1, C2 and 298 more"
