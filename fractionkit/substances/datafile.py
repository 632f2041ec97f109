"""One data file of the catalogue (TOML, bench units) -> `Substance` (SI). Faults name file and key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from fractionkit.errors import Fault, InputError
from fractionkit.substances.model import (
    FAMILIES,
    STATUSES,
    Antoine,
    DensityFit,
    Outlier,
    RefractiveFit,
    SourceValue,
    Substance,
    Value,
)

ZERO_CELSIUS = 273.15
#: Property of a [sources] table -> (factor and offset to SI, does it stand at a temperature).
SOURCE_UNITS: dict[str, tuple[float, float, bool]] = {
    "boiling_point": (1.0, ZERO_CELSIUS, False),  # degC
    "density": (1.0, 0.0, True),  # kg/m3
    "refractive_index": (1.0, 0.0, True),
    "heat_of_vaporization": (1e3, 0.0, False),  # kJ/mol
}


class _Table:
    """A TOML table with typed access; a fault says which file and key is wrong."""

    def __init__(self, data: dict[str, Any], file: str, path: str = "") -> None:
        self.data, self.file, self.path = data, file, path

    def fault(self, key: str, found: object, expected: str) -> InputError:
        text = None if found is None else str(found)
        return InputError(Fault(text, expected, file=self.file, column=f"{self.path}{key}"))

    def table(self, key: str) -> _Table:
        found = self.data.get(key)
        if not isinstance(found, dict):
            raise self.fault(key, found, f"a table [{self.path}{key}]")
        return _Table(found, self.file, f"{self.path}{key}.")

    def number(self, key: str, default: float | None = None) -> float:
        found = self.data.get(key, default)
        if isinstance(found, bool) or not isinstance(found, int | float):
            raise self.fault(key, found, "a number")
        return float(found)

    def uncertainty(self, key: str = "u") -> float:
        found = self.number(key)
        if not found > 0.0:
            raise self.fault(key, found, "a standard uncertainty above zero")
        return found

    def text(self, key: str, among: tuple[str, ...] = ()) -> str:
        found = self.data.get(key)
        if not isinstance(found, str) or not found.strip():
            raise self.fault(key, found, "a text")
        if among and found not in among:
            raise self.fault(key, found, "one of " + ", ".join(among))
        return found

    def texts(self, key: str) -> tuple[str, ...]:
        found = self.data.get(key, [])
        if not isinstance(found, list) or not all(isinstance(item, str) for item in found):
            raise self.fault(key, found, "a list of texts")
        return tuple(found)

    def interval(self, key: str) -> tuple[float, float]:
        found = self.data.get(key)
        if not isinstance(found, list) or len(found) != 2 or not found[0] < found[1]:
            raise self.fault(key, found, "a range [low, high] in degC")
        return float(found[0]) + ZERO_CELSIUS, float(found[1]) + ZERO_CELSIUS

    def origin(self) -> tuple[str, str]:
        return self.text("source"), self.text("status", STATUSES)


def _value(table: _Table, factor: float, offset: float, unit: str) -> Value:
    source, status = table.origin()
    return Value(table.number("value") * factor + offset, table.uncertainty() * factor, unit, source, status)


def _antoine(table: _Table) -> Antoine:
    source, status = table.origin()
    low, high = table.interval("range")
    a, b, c = (table.number(key) for key in ("A", "B", "C"))
    return Antoine(a, b, c, low, high, table.uncertainty("u_ln"), source, status)


def _density(table: _Table) -> DensityFit:
    source, status = table.origin()
    low, high = table.interval("range")
    return DensityFit(
        rho_ref=table.number("value"),
        t_ref=table.number("at") + ZERO_CELSIUS,
        slope=table.number("slope"),
        curvature=table.number("curvature", 0.0),
        t_min=low,
        t_max=high,
        u=table.uncertainty(),
        u_slope=table.uncertainty("u_slope"),
        source=source,
        status=status,
    )


def _refractive(table: _Table) -> RefractiveFit:
    source, status = table.origin()
    at, slope = table.number("at") + ZERO_CELSIUS, table.number("slope")
    return RefractiveFit(table.number("value"), at, slope, table.uncertainty(), source, status)


def _source_values(table: _Table) -> tuple[SourceValue, ...]:
    found = []
    for name, rows in table.data.items():
        if name not in SOURCE_UNITS:
            raise table.fault(name, None, "one of " + ", ".join(SOURCE_UNITS))
        factor, offset, at_temperature = SOURCE_UNITS[name]
        for source, entry in rows.items():
            pairs = entry if at_temperature else [[None, entry]]
            for celsius, value in pairs:
                kelvin = None if celsius is None else celsius + ZERO_CELSIUS
                found.append(SourceValue(name, source, value * factor + offset, kelvin))
    return tuple(found)


def read_substance(path: Path) -> Substance:
    """Read one data file.

    Raises
    ------
    InputError
        naming the file and the key that is missing or wrong.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise InputError(Fault(None, f"a TOML file ({error})", file=path.name)) from error
    top = _Table(data, path.name)
    outliers = [_Table(entry, path.name, "outliers.") for entry in data.get("outliers", [])]
    return Substance(
        name=top.text("name"),
        cas=top.text("cas"),
        formula=top.text("formula"),
        family=top.text("family", FAMILIES),
        dissolved=bool(data.get("dissolved", False)),
        synonyms=top.texts("synonyms"),
        molar_mass=_value(top.table("molar_mass"), 1e-3, 0.0, "kg/mol"),
        boiling_point=_value(top.table("boiling_point"), 1.0, ZERO_CELSIUS, "K"),
        vapour_pressure=_antoine(top.table("vapour_pressure")),
        density=_density(top.table("density")),
        refractive_index=_refractive(top.table("refractive_index")) if "refractive_index" in data else None,
        heat_of_vaporization=_value(top.table("heat_of_vaporization"), 1e3, 0.0, "J/mol"),
        conflicts=top.texts("conflicts"),
        sources=_source_values(top.table("sources")) if "sources" in data else (),
        outliers=tuple(Outlier(t.text("property"), t.text("source"), t.text("reason")) for t in outliers),
    )
