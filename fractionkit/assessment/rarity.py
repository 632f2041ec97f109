"""How seldom readings fit together as badly as these, as a person at the bench would say it."""

from __future__ import annotations


def rarity(chance: float, of: str = "run") -> str:
    """How many faultless runs (or cuts) have readings that disagree as much, in words; nothing rarer than one in 1,000."""
    if chance >= 0.095:
        return f"{max(round(10.0 * chance), 1)} of 10 faultless {of}s disagree as much"
    if chance < 0.001:
        return f"fewer than 1 faultless {of} in 1,000 disagrees as much"
    one_in = 1.0 / chance
    digits = 10.0 ** (len(f"{one_in:.0f}") - 1)
    return f"1 faultless {of} in {digits * round(one_in / digits):,.0f} disagrees as much"
