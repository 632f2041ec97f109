"""Write the output blocks of README.md and its picture again: `python -m tests.docs`, at the top of a checkout."""

from pathlib import Path

from tests.docs.picture import PICTURE, picture
from tests.docs.runner import rewritten

readme = Path("README.md")
readme.write_text(rewritten(readme.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
Path(PICTURE).parent.mkdir(parents=True, exist_ok=True)
Path(PICTURE).write_text(picture(), encoding="utf-8", newline="\n")
print(f"written: {readme}, {PICTURE}")
