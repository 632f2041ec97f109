"""Options of the prompt read into SI; their faults name the option."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from fractionkit.errors import Fault, InputError

if TYPE_CHECKING:
    from fractionkit.quantities import Quantity


def quantity(name: str, text: str, kind: str, default_unit: str | None = None) -> Quantity:
    """The option ``name`` as a quantity.

    Raises
    ------
    InputError
        where the text is none of that kind.
    """
    from fractionkit.quantities import parse

    with options_for({"": name}):
        return parse(text, kind, default_unit=default_unit)


class Options:
    """Reads the options of one command; all faults are told at once by ``check``."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def read(self, name: str, text: str | None, kind: str) -> Quantity | None:
        """The option ``name`` as a quantity; None when it was not given or is at fault."""
        if text is None:
            return None
        try:
            return quantity(name, text, kind)
        except InputError as error:
            self.faults.extend(error.faults)
            return None

    def refuse(self, name: str, value: str | None, expected: str) -> None:
        """Note a fault that is not a matter of notation."""
        self.faults.append(Fault(value, expected, column=name))

    def check(self) -> None:
        """Raise InputError with every fault noted so far."""
        if self.faults:
            raise InputError(self.faults)


@contextmanager
def options_for(names: Mapping[str, str]) -> Iterator[None]:
    """Name the options of the prompt in faults that the readings room tells in the words of a run sheet."""
    try:
        yield
    except InputError as error:
        faults = [replace(fault, column=names.get(fault.column or "", fault.column)) for fault in error.faults]
        raise type(error)(faults) from error
