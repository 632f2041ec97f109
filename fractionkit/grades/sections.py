"""The sections of a grade's file as pydantic models, schema ``fractionkit/grade/1``."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

_STATUS = "'read in a copy', 'from memory' or 'our own'"
Status = Literal["read in a copy", "from memory", "our own"]


def _required(*keys: str) -> ConfigDict:
    extra: JsonDict = {"required": list(keys)}
    return ConfigDict(extra="forbid", frozen=True, json_schema_extra=extra)


class GradeSection(BaseModel):
    """What the grade is called, what it is for and where it comes from."""

    model_config = _required("name", "title", "source", "status")
    name: str | None = Field(None, description='a short name in quotation marks, like "house-degreasing"')
    title: str | None = Field(None, description="a title in quotation marks")
    components: list[str] | None = Field(
        None, description='the substances that it is for, like ["dichloromethane"]; without it, any'
    )
    source: str | None = Field(None, description="where the limits come from, in quotation marks")
    status: Status | None = Field(None, description=_STATUS)
    note: str | None = Field(None, description="a sentence in quotation marks")


class LimitSection(BaseModel):
    """What the grade demands of one attribute."""

    model_config = _required("attribute")
    attribute: str | None = Field(None, description='the name of an attribute in quotation marks, like "water"')
    low: str | None = Field(None, description='a quantity in quotation marks, like "99.0 wt%"')
    high: str | None = Field(None, description='a quantity in quotation marks, like "0.02 wt%"')
    span: str | None = Field(None, description='the widest boiling range, like "2 degC"')
    accept: list[str] | None = Field(None, description='the words that are accepted, like ["absent"]')
    temperature: str | None = Field(None, description='the temperature of a density, like "20 degC"')
    substance: str | None = Field(None, description="the name of a stabiliser in quotation marks")
    source: str | None = Field(None, description="where this limit comes from, if not from the grade's source")
    status: Status | None = Field(None, description=_STATUS)
    note: str | None = Field(None, description="a sentence in quotation marks")


class GradeFile(BaseModel):
    """One grade: [grade] and a [[limit]] for each attribute."""

    model_config = _required("grade", "limit")
    grade: GradeSection | None = None
    limit: list[LimitSection] | None = None
