"""Where to cut: receiver changes, how the rest is divided, and what is said of it."""
