"""The attributes of a grade: what they are called, which quantity each is, which component tells of it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Attribute:
    """One attribute. kind : of `quantities.KINDS`, "" for words only. component : whose mass fraction it is, "" for none."""

    name: str
    kind: str
    title: str
    example: str
    synonyms: tuple[str, ...] = ()
    component: str = ""


ATTRIBUTES: dict[str, Attribute] = {
    made.name: made
    for made in (
        Attribute("assay", "fraction", "assay", 'low = "99.0 wt%"', ("purity", "content")),
        Attribute(
            "density",
            "density",
            "density",
            'low = "1.318 sg25/25", high = "1.322 sg25/25"',
            ("specific gravity", "relative density"),
        ),
        Attribute(
            "boiling range",
            "temperature",
            "boiling range",
            'low = "39.5 degC", high = "40.5 degC"',
            ("distilling range", "distillation range", "boiling point"),
        ),
        Attribute("water", "fraction", "water", 'high = "0.02 wt%"', (), "water"),
        Attribute(
            "residue",
            "fraction",
            "residue on evaporation",
            'high = "0.002 wt%"',
            ("residue on evaporation", "residue after evaporation", "nonvolatile residue", "non-volatile residue"),
        ),
        Attribute("acidity", "fraction", "acidity as HCl", 'high = "0.001 wt%"', ("acid", "hydrogen chloride")),
        Attribute(
            "stabiliser",
            "fraction",
            "stabiliser",
            'low = "0.4 wt%", high = "1.0 wt%", substance = "ethanol"',
            ("stabilizer",),
        ),
        Attribute(
            "free halogen",
            "fraction",
            "free halogen",
            'accept = ["absent"]',
            ("free halogens", "free chlorine", "chlorine"),
        ),
        Attribute("colour", "number", "colour, Pt-Co", 'high = "10"', ("color", "colour apha", "apha colour")),
    )
}
_BY_WORD = {word.lower(): made.name for made in ATTRIBUTES.values() for word in (made.name, made.title, *made.synonyms)}


def attribute_named(text: str) -> str:
    """The attribute that ``text`` means; a name that is not known stands for itself, tested in words."""
    word = " ".join(text.split())
    return _BY_WORD.get(word.lower(), word)


def same_attribute(first: str, second: str) -> bool:
    """Whether two names mean one attribute, however they are capitalised."""
    return attribute_named(first).lower() == attribute_named(second).lower()


def kind_of(attribute: str) -> str:
    """The kind of quantity of an attribute, "" for words only."""
    return ATTRIBUTES[attribute].kind if attribute in ATTRIBUTES else ""


def title_of(attribute: str) -> str:
    """How an attribute is called in a table."""
    return ATTRIBUTES[attribute].title if attribute in ATTRIBUTES else attribute
