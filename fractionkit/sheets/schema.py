"""JSON schema of run.toml."""

from __future__ import annotations

from typing import Any

SCHEMA_ID = "fractionkit/run/1"


def schema() -> dict[str, Any]:
    """The JSON schema (draft 2020-12) of run.toml, read as a mapping; its ``$id`` is ``fractionkit/run/1``.

    What needs two values at once (sea_level with altitude, a sum of shares) is checked by `load_run` only.
    """
    from fractionkit.sheets.sections import RunFile

    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        **RunFile.model_json_schema(),
    }
