"""The one adapter to thermo 0.6.1 and chemicals 1.5.2: what other sources say of a substance.

Nothing else in the project imports them. Every method is pinned by name, so that a new release cannot quietly change
which source answers. The imports are inside the functions: the catalogue itself never needs these packages.
"""

from __future__ import annotations

from collections.abc import Iterator

from fractionkit.substances.model import NORMAL_PRESSURE, SourceValue

_CRC = "CRC Handbook, physical constants of organic compounds"
_TB_TABLES = {
    "CRC_ORG": _CRC,
    "CRC_INORG": "CRC Handbook, physical constants of inorganic compounds",
    "YAWS": "Yaws 2014",
    "WEBBOOK": "NIST WebBook",
    "COMMON_CHEMISTRY": "CAS Common Chemistry",
    "WIKIDATA": "Wikidata",
}
_PSAT_EQUATIONS = {
    "LANDOLT": "Landolt-Boernstein Antoine equation",
    "ANTOINE_POLING": "Poling Antoine equation",
    "ANTOINE_WEBBOOK": "NIST WebBook Antoine equation",
    "WAGNER_MCGARRY": "McGarry Wagner equation",
    "WAGNER_POLING": "Poling Wagner equation",
    "DIPPR_PERRY_8E": "Perry 8th ed. table 2-8",
    "VDI_PPDS": "VDI Heat Atlas vapour pressure equation",
    "HEOS_FIT": "Helmholtz equation of state (fit)",
}
_DENSITY_EQUATIONS = {
    "DIPPR_PERRY_8E": "Perry 8th ed. table 2-32",
    "VDI_PPDS": "VDI Heat Atlas density equation",
    "HEOS_FIT": "Helmholtz equation of state (fit)",
}
_HEAT_EQUATIONS = {
    "CRC_HVAP_TB": "CRC Handbook, enthalpy of vaporization",
    "DIPPR_PERRY_8E": "Perry 8th ed. table 2-150",
    "VDI_PPDS": "VDI Heat Atlas enthalpy equation",
    "HEOS_FIT": "Helmholtz equation of state (fit)",
}
#: How far [K] below the boiling point the vapour-pressure equations are compared as well: about half an atmosphere.
BELOW_BOILING = 20.0
#: Temperatures [K] at which the density equations are compared.
DENSITY_TEMPERATURES = (293.15, 298.15)


def decode_glued(text: str, decimals: int) -> tuple[float, float] | None:
    """Take apart a number of the handbook's constants table, which glues the temperature superscript to it.

    The handbook prints 1.4788 with a superscript 25; the table of `chemicals` holds ``1478.825`` (kg/m3). A trailing
    zero is lost with the decimal notation: 1.5940 at 20 °C stands as ``1594.02``.

    Parameters
    ----------
    text
        the number as the table holds it.
    decimals
        decimals that the number itself has at most in the table's unit: 1 for a density in kg/m3, 4 for a
        refractive index. It may have one fewer ("2.091" g/mL at 20 °C stands as ``2091.2``).

    Returns
    -------
    tuple or None
        the number and its temperature in °C (15, 20 or 25), or None if no temperature is glued to it.
    """
    whole, _, digits = text.strip().partition(".")
    for tail, temperature in (("25", 25.0), ("20", 20.0), ("15", 15.0), ("2", 20.0)):
        head = digits.removesuffix(tail)
        if digits.endswith(tail) and decimals - 1 <= len(head) <= decimals:
            return float(f"{whole}.{head or 0}"), temperature
    return None


def _handbook(cas: str, column: str, decimals: int) -> tuple[float, float] | None:
    """A number of the handbook's constants tables, decoded: (value, K), or None."""
    from chemicals import miscdata

    for table in (miscdata.CRC_organic_data, miscdata.CRC_inorganic_data):
        if cas in table.index and column in table.columns:
            decoded = decode_glued(repr(float(str(table.at[cas, column]))), decimals)
            if decoded is not None:
                return decoded[0], decoded[1] + 273.15
    return None


def boiling_points(cas: str) -> Iterator[SourceValue]:
    """Normal boiling points [K] of the package's tables and of its vapour-pressure equations."""
    from chemicals import Tb, Tb_methods
    from thermo import VaporPressure

    listed = Tb_methods(cas)
    for method, source in _TB_TABLES.items():
        if method in listed:
            yield SourceValue("boiling_point", source, float(Tb(cas, method=method)), None)
    pressure = VaporPressure(CASRN=cas)
    for method, source in _PSAT_EQUATIONS.items():
        if method in pressure.all_methods:
            pressure.method = method
            found = pressure.solve_property(NORMAL_PRESSURE)
            if found is not None:
                yield SourceValue("boiling_point", source, float(found), None)


def vapour_pressures(cas: str, boiling_point: float) -> Iterator[SourceValue]:
    """Vapour pressures [Pa] some way below ``boiling_point`` [K], of those equations whose range holds it."""
    from thermo import VaporPressure

    pressure = VaporPressure(CASRN=cas)
    temperature = round(boiling_point - BELOW_BOILING - 273.15) + 273.15
    for method, source in _PSAT_EQUATIONS.items():
        if method in pressure.all_methods:
            low, high = pressure.T_limits[method]
            if low <= temperature <= high:
                value = float(pressure.calculate(temperature, method))
                yield SourceValue("vapour_pressure", source, value, temperature)


def densities(cas: str) -> Iterator[SourceValue]:
    """Liquid densities [kg/m3] near room temperature: the handbook's (decoded) and the package's equations."""
    from chemicals import MW
    from thermo import VolumeLiquid

    decoded = _handbook(cas, "rho", 1)
    if decoded is not None:
        yield SourceValue("density", _CRC, *decoded)
    volume = VolumeLiquid(CASRN=cas)
    for method, source in _DENSITY_EQUATIONS.items():
        if method in volume.all_methods:
            for temperature in DENSITY_TEMPERATURES:
                molar = volume.calculate(temperature, method)
                yield SourceValue("density", source, float(MW(cas)) * 1e-3 / float(molar), temperature)


def refractive_indices(cas: str) -> Iterator[SourceValue]:
    """Refractive indices nD: the handbook's (decoded), and its separate table."""
    from chemicals import RI, RI_methods

    decoded = _handbook(cas, "RI", 4)
    if decoded is not None:
        yield SourceValue("refractive_index", _CRC, *decoded)
    if "CRC" in RI_methods(cas):
        value, temperature = RI(cas, method="CRC")
        yield SourceValue("refractive_index", "CRC Handbook, index of refraction", float(value), float(temperature))


def heats_of_vaporization(cas: str, boiling_point: float) -> Iterator[SourceValue]:
    """Enthalpies of vaporization [J/mol] at ``boiling_point`` [K]."""
    from thermo import EnthalpyVaporization

    heat = EnthalpyVaporization(CASRN=cas)
    for method, source in _HEAT_EQUATIONS.items():
        if method in heat.all_methods:
            value = float(heat.calculate(boiling_point, method))
            yield SourceValue("heat_of_vaporization", source, value, None)


def source_values(cas: str, boiling_point: float) -> tuple[SourceValue, ...]:
    """What the packages say of the four properties that the data files list, in their order."""
    return (
        *boiling_points(cas),
        *densities(cas),
        *refractive_indices(cas),
        *heats_of_vaporization(cas, boiling_point),
    )
