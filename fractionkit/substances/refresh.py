"""Write the derived parts of the data: the table of other sources at the foot of each file, and the index.

Run ``python -m fractionkit.substances.refresh`` after a data file was added or changed. A test does the same in
memory and compares, so that files and packages cannot drift apart unseen.
"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

from fractionkit.files import write_text
from fractionkit.substances.catalogue import DATA, slug
from fractionkit.substances.datafile import SOURCE_UNITS, ZERO_CELSIUS, read_substance
from fractionkit.substances.model import SourceValue

MARK = "# ---- Other sources, written by fractionkit.substances.refresh: do not edit below this line ----\n"
_COMMENTS = {
    "boiling_point": "degC at 101.325 kPa",
    "density": "[degC, kg/m3]",
    "refractive_index": "[degC, nD]",
    "heat_of_vaporization": "kJ/mol at the boiling point",
}
_DECIMALS = {
    "boiling_point": 3,
    "density": 2,
    "refractive_index": 4,
    "heat_of_vaporization": 2,
}


def sources_block(values: tuple[SourceValue, ...]) -> str:
    """The ``[sources.*]`` tables as TOML text."""
    lines = []
    for name, (factor, offset, at_temperature) in SOURCE_UNITS.items():
        rows: dict[str, list[str]] = {}
        for entry in values:
            if entry.property == name:
                number = f"{(entry.value - offset) / factor:.{_DECIMALS[name]}f}"
                if at_temperature and entry.temperature is not None:
                    number = f"[{entry.temperature - ZERO_CELSIUS:g}, {number}]"
                rows.setdefault(entry.source, []).append(number)
        if rows:
            lines.append(f"\n[sources.{name}]  # {_COMMENTS[name]}\n")
        for source, numbers in rows.items():
            text = f"[{', '.join(numbers)}]" if at_temperature else numbers[0]
            lines.append(f"{json.dumps(source, ensure_ascii=False)} = {text}\n")
    return "".join(lines)


def refreshed(text: str, block: str) -> str:
    """The text of a data file with its part below the mark replaced."""
    return text.partition(MARK)[0].rstrip("\n") + "\n\n" + MARK + block


def data_files() -> list[Path]:
    """The data files of the catalogue, in the order of ``order.toml``; a file not named there comes last."""
    order = [slug(name) for name in tomllib.loads((DATA / "order.toml").read_text("utf-8"))["order"]]
    rank = {name: place for place, name in enumerate(order)}
    files = [path for path in DATA.glob("*.toml") if path.stem != "order" and not path.stem.startswith("cautions")]
    return sorted(files, key=lambda path: (rank.get(path.stem, len(rank)), path.stem))


def build_index() -> str:
    """Text of the index file, from the data files and the list of ambiguous names in ``order.toml``."""
    substances: dict[str, Any] = {}
    for path in data_files():
        item = read_substance(path)
        substances[item.name] = {"cas": item.cas, "synonyms": list(item.synonyms)}
    ambiguous = tomllib.loads((DATA / "order.toml").read_text("utf-8"))["ambiguous"]
    body = {"substances": substances, "ambiguous": ambiguous}
    return json.dumps(body, indent=1, ensure_ascii=False) + "\n"


def main() -> None:
    """Refresh all files in place (imports the packages: some seconds)."""
    from fractionkit.substances.packages import source_values

    for path in data_files():
        item = read_substance(path)
        block = sources_block(source_values(item.cas, item.boiling_point.value))
        write_text(path, refreshed(path.read_text("utf-8"), block))
    write_text(DATA / "index.json", build_index())


if __name__ == "__main__":
    main()
