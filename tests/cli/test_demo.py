"""`fractionkit demo`: copies a run that loads, overwrites nothing, and every package is in the wheel's list."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli import demo
from fractionkit.errors import InputError
from fractionkit.sheets import load_run

ROOT = Path(__file__).resolve().parents[2]
COMPONENTS = {
    "binary": (8, ("trichloroethylene", "tetrachloroethylene")),
    "ternary": (10, ("chloroform", "1,2-dichloroethane", "tetrachloroethylene")),
}


def app() -> typer.Typer:
    made = typer.Typer()
    made.command()(demo.command)
    return made


@pytest.mark.parametrize("name", COMPONENTS)
def test_a_demo_run_is_written_and_can_be_read(name, tmp_path):
    folder = tmp_path / "new" / "my run"
    done = CliRunner().invoke(app(), [str(folder), "--kind", name])
    assert done.exit_code == 0
    assert f"fractionkit assess '{folder}'" in done.output
    assert "INVENTED DATA" in done.output
    assert sorted(path.name for path in folder.iterdir()) == ["README.md", "cuts.csv", "run.toml"]
    run = load_run(folder)
    cuts, components = COMPONENTS[name]
    assert (len(run.cuts), run.components) == (cuts, components)
    for path in folder.iterdir():
        assert path.read_bytes() == (ROOT / "data" / f"demo_{name}" / path.name).read_bytes()
    assert "INVENTED DATA" in (folder / "README.md").read_text(encoding="utf-8").splitlines()[0]
    assert "INVENTED DATA" in (folder / "run.toml").read_text(encoding="utf-8").splitlines()[0]
    assert "invented" in run.title


def test_binary_is_the_default(tmp_path):
    assert CliRunner().invoke(app(), [str(tmp_path)]).exit_code == 0
    assert load_run(tmp_path).components == COMPONENTS["binary"][1]


@pytest.mark.parametrize("name", demo.DEMOS[demo.Kind.BINARY].files)
def test_nothing_is_overwritten(name, tmp_path):
    (tmp_path / name).write_text("mine", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        demo.command(tmp_path)
    assert caught.value.exit_code == 2
    assert name in str(caught.value)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "a").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="this is a file"):
        demo.command(tmp_path / "a")
    with pytest.raises(InputError, match="a folder that can be made"):
        demo.command(tmp_path / "a" / "b")
    with pytest.raises(InputError, match="a folder that can be made"):
        demo.command(tmp_path / ("b" * 5000))


@pytest.mark.parametrize("kind", demo.Kind)
def test_every_kind_is_written_as_it_stands_in_the_checkout(kind, tmp_path):
    done = CliRunner().invoke(app(), [str(tmp_path / "here"), "--kind", kind.value])
    assert done.exit_code == 0, done.output
    wanted = demo.DEMOS[kind]
    for name, source in wanted.files.items():
        assert (tmp_path / "here" / name).read_bytes() == (ROOT / "data" / source).read_bytes()
    assert f"fractionkit {wanted.command} {tmp_path / 'here' / wanted.sheet}".rstrip("/") in done.output
    shown = " ".join(done.output.split())
    assert "INVENTED DATA" in shown


def test_unknown_demo_is_refused(tmp_path):
    done = CliRunner().invoke(app(), [str(tmp_path / "x"), "--kind", "quaternary"])
    assert done.exit_code == 2
    assert not (tmp_path / "x").exists()


def test_every_package_is_listed_for_the_wheel():
    with (ROOT / "pyproject.toml").open("rb") as stream:
        listed = tomllib.load(stream)["tool"]["setuptools"]["packages"]
    folders = {path.parent for path in (ROOT / "fractionkit").rglob("*.py")}
    found = {".".join(folder.relative_to(ROOT).parts) for folder in folders}
    assert sorted(listed) == sorted(found | {"fractionkit.demo_runs"})
