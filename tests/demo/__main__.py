"""Write the demo runs again: `python -m tests.demo`."""

from pathlib import Path

from tests.demo.make import SCENARIOS, files

for scenario in SCENARIOS:
    folder = Path("data") / scenario.folder
    for name, text in files(scenario).items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        print(f"written: {folder / name}")
