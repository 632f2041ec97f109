"""The still: batch distillation of anything with a bubble point, and its division into receivers."""

from fractionkit.still.batch import distil
from fractionkit.still.equilibrium import ConstantVolatility, Equilibrium, TabulatedVolatility
from fractionkit.still.fitted import FittedVolatility
from fractionkit.still.policy import Charge, Steered, Stepped
from fractionkit.still.result import Cuts, Distillation

__all__ = [
    "Charge",
    "ConstantVolatility",
    "Cuts",
    "Distillation",
    "Equilibrium",
    "FittedVolatility",
    "Steered",
    "Stepped",
    "TabulatedVolatility",
    "distil",
]
