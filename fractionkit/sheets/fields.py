"""Types of the values in run.toml: a quantity of a stated kind within stated limits, checked as it is read."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from fractionkit.errors import InputError
from fractionkit.quantities import Quantity, parse

_SIGN = re.compile(r"^\s*(?:±|\+\s?/\s?-|\+-)\s*")


@dataclass(frozen=True)
class QuantityOf:
    """Annotation of a pydantic field: parsed by `fractionkit.quantities.parse`, then held between two limits.

    low, high : SI limits (a specific gravity counts as a thousandth of its kg/m3); ``above`` and ``below`` say
    whether the limit itself is refused. limits : the same in words, with units. example : a right value.
    bare_unit : unit of a number without one; None refuses such a number. exact : whether a "±" is refused.
    half_width : the value is one itself, so a "±" before it says nothing new.
    """

    kind: str
    low: float
    high: float
    limits: str
    example: str
    above: bool = False
    below: bool = False
    bare_unit: str | None = None
    exact: bool = False
    half_width: bool = False

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Parse, then check the limits."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """A text with a unit, or where a bare number means something also a number."""
        kinds: list[str] = ["string", "number"] if self.bare_unit is not None else ["string"]
        return {
            "type": kinds if len(kinds) > 1 else kinds[0],
            "description": f"{self.kind.replace('_', ' ')}: {self.limits}",
            "examples": [self.example],
        }

    def read(self, value: Any) -> Quantity:
        """The quantity; a PydanticCustomError of type "quantity" says what was expected."""
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise _refuse(f"{self.limits}, written like {self.example!r}")
        if not isinstance(value, str) and self.bare_unit is None:
            raise _refuse(f"a number with its unit in quotation marks, like {self.example!r}")
        if self.half_width and isinstance(value, str):
            value = _SIGN.sub("", value)
        try:
            quantity = parse(value, self.kind, default_unit=self.bare_unit)
        except InputError as error:
            raise _refuse("; ".join(fault.expected for fault in error.faults)) from error
        if self.exact and quantity.u is not None:
            raise _refuse(f"a value without ±{self._like()}")
        number = quantity.value * (1000.0 if quantity.kind == "specific_gravity" else 1.0)
        low = number > self.low if self.above else number >= self.low
        high = number < self.high if self.below else number <= self.high
        if not (math.isfinite(number) and low and high):
            raise _refuse(self.limits + self._like())
        return quantity

    def _like(self) -> str:
        return f", like {self.example!r}"


def _refuse(expected: str) -> PydanticCustomError:
    return PydanticCustomError("quantity", "{expected}", {"expected": expected})


def _one_is_a_list(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Texts = Annotated[list[str], BeforeValidator(_one_is_a_list, json_schema_input_type=str | list[str])]
"""Texts in a list; one alone may stand without brackets."""
