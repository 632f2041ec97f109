"""What leaves an assessed run: the one-file HTML report and the JSON document."""

from fractionkit.report.document import as_json, json_text
from fractionkit.report.page import html

__all__ = ["as_json", "html", "json_text"]
