"""Readings on the nodes of a composition, and the errors that all cuts share: their mode, their spread, samples of them."""
