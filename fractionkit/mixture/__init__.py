"""Vapour pressure, activity, bubble and dew point, density and refractive index of mixtures: arrays in, arrays out."""

from fractionkit.mixture.azeotropes import AzeotropePoint
from fractionkit.mixture.model import Mixture
from fractionkit.mixture.sensitivities import ModelError
from fractionkit.mixture.tables import ActivityPair, ExcessVolume, activity_pairs, excess_volumes

__all__ = [
    "ActivityPair",
    "AzeotropePoint",
    "ExcessVolume",
    "Mixture",
    "ModelError",
    "activity_pairs",
    "excess_volumes",
]
