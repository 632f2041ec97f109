"""Lots made of cuts and bottles: combined, graded, labelled; what it would take for the rest."""
