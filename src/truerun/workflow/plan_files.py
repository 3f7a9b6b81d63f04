"""Plans as files: written once when they are sealed, checked whenever they are read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from truerun.errors import RecordingUnreadable
from truerun.report.json_text import json_text
from truerun.trial.plan import MAY_BE_ABSENT, Plan, plan_from_document
from truerun.trial.seal import Seal, Sealable, require_seal, seal_of
from truerun.workflow.small_texts import read_small_text

__all__ = ["SealedPlan", "load_document", "plan_file_text", "plan_schema", "read_plan"]


@dataclass(frozen=True, slots=True)
class SealedPlan:
    """A plan and the seal that it still fits."""

    plan: Plan
    seal: Seal


def plan_file_text(plan: Sealable) -> str:
    """Give the text of a plan's file: the document, and the seal beside it."""
    document = plan.document() | {"seal": seal_of(plan).document()}
    return json_text(document) + "\n"


def plan_schema(kind: type[BaseModel] = Plan) -> dict[str, Any]:
    """Give the JSON Schema of a sealed plan's file, as published in ``docs/schemas``: plan, screening or dose."""
    schema = kind.model_json_schema(by_alias=True, mode="serialization")
    digest = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
    code = {"type": "string", "pattern": "^([2-9A-HJKMNP-TV-Z]{4} ){3}[2-9A-HJKMNP-TV-Z]{4}$"}
    schema["properties"]["seal"] = {
        "type": "object",
        "description": "SHA-256 over the canonical JSON (RFC 8785) of all other keys, and its spoken code.",
        "properties": {"sha256": digest, "code": code},
        "required": ["sha256", "code"],
        "additionalProperties": False,
    }
    schema["required"] = [*(key for key in schema["required"] if key not in MAY_BE_ABSENT), "seal"]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema


def read_plan(source: Any, *, code: str | None = None) -> SealedPlan:
    """Read a sealed plan and check that it was not changed.

    Parameters
    ----------
    source : path, mapping, or SealedPlan
        As ``truerun plan`` wrote it.
    code : str, optional
        The spoken code that a stranger kept.

    Returns
    -------
    SealedPlan

    Raises
    ------
    RecordingUnreadable
        If the file is missing, not JSON, or not a plan.
    PlanBroken
        If it has no seal, was changed since, or does not fit the code.
    """
    if isinstance(source, SealedPlan):
        return source
    if isinstance(source, Mapping):
        document, name = dict(source), "the plan"
    else:
        document, name = load_document(Path(source)), str(source)
    stored = document.pop("seal", None)
    plan = plan_from_document(document, name)
    return SealedPlan(plan, require_seal(plan, stored, name, code))


def load_document(path: Path) -> dict[str, Any]:
    """Read a JSON object from a file; what is none is refused with the file and the line."""
    text = read_small_text(path, "Give the plan that truerun plan wrote.")
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a bare ValueError
        where = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise RecordingUnreadable(path, where, "this is not JSON. Give the plan that truerun plan wrote.") from error
    if not isinstance(document, dict):
        raise RecordingUnreadable(path, "", "this is not a plan. Give the plan that truerun plan wrote.")
    return document
