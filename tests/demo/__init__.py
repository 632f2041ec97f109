"""The demo runs, remade: `python -m tests.demo` writes them again from a simulated still of known truth."""
