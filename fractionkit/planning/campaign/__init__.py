"""Batches of one feed, cuts carried into the next charge, simple distillation again and again."""
