"""The plan as a document: what it must hold, and what it refuses."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.trial.constructed import NAMES, sealed
from truerun.errors import PlanBroken, RecordingUnreadable
from truerun.trial.plan import End, Plan, plan_from_document
from truerun.workflow.plan_files import read_plan


def document(**changes: Any) -> dict[str, Any]:
    """A plan as plain data, without its seal, with changes."""
    made: dict[str, Any] = json.loads(sealed().json())
    del made["seal"]
    return made | changes


def test_it_comes_back_as_it_was() -> None:
    plan = sealed(covariates=("temperature",), spare_blocks=2, margin=0.02, claimed=1.0, window=(20.0, 8.0)).plan
    assert plan_from_document(json.loads(json.dumps(plan.document())), "plan.json") == plan


def test_keys_of_the_schema() -> None:
    """Architecture, "Fixed parts of the JSON results"."""
    keys = (
        "schema id role main_test claim conditions measurand window end orders adjust drawn_by seed order runs alpha "
        "margin claimed stopping left_out_rule blinding sessions agreed made"
    )
    assert set(keys.split()) <= set(document())
    assert document()["schema"] == "truerun/plan/1"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"orders": "fours"}, '"fours" is not a set of orders; choose one of blocks-of-four'),
        ({"order": ["ring on"] * 12}, "the order does not belong to the set blocks-of-four"),
        ({"order": ["ring on", "ring off"]}, "the order must name one of the two conditions for each planned run"),
        ({"runs": 13}, "the order must name one of the two conditions"),
        ({"order": ["on", "off"] * 6}, "the order must name one of the two conditions"),
        ({"end": "standstill"}, "must say which stop: turns-back or lies-still"),
        ({"conditions": {"source": "a", "control": "a"}}, "must have different names"),
        ({"window": {"from": 5.0, "to": 8.0}}, "its end must be slower than its start"),
        ({"margin": 1.5}, "the margin must be below 1"),
        ({"alpha": 0.7}, 'key "alpha"'),
        ({"seed": "short"}, 'key "seed"'),
        ({"made": "yesterday"}, 'key "made"'),
        ({"surprise": 1}, 'key "surprise"'),
        ({"claim": {"words": ""}}, 'key "claim.words"'),
        ({"schema": "truerun/plan/2"}, 'key "schema"'),
        ({"claimed": "a lot"}, 'key "claimed"'),
    ],
)
def test_what_does_not_hold_together_is_refused_with_its_key(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(RecordingUnreadable, match=r"plan\.json, key") as refused:
        plan_from_document(document(**changes), "plan.json")
    assert said in str(refused.value)
    assert str(refused.value).endswith("Use the file that truerun plan wrote.")


def test_a_margin_on_a_linear_scale_is_in_its_unit() -> None:
    measurand = {"name": "mass", "scale": "linear", "sign": -1, "unit": "g"}
    assert plan_from_document(document(margin=5.0, measurand=measurand), "plan.json").margin == 5.0


@pytest.mark.parametrize("missing", ["claim", "conditions", "order", "runs", "seed", "end", "made", "id"])
def test_a_missing_key_is_named(missing: str) -> None:
    given = document()
    del given[missing]
    with pytest.raises(RecordingUnreadable, match=f'key "{missing}"'):
        plan_from_document(given, "plan.json")


def test_signs_follow_the_names() -> None:
    plan: Plan = sealed().plan
    assert [NAMES.source if sign > 0 else NAMES.control for sign in plan.signs] == list(plan.order)
    assert plan.order_set.contains(plan.signs)
    assert plan.end is End.SPEED


def test_files_that_are_no_plans(tmp_path: Any) -> None:
    path = tmp_path / "plan.json"
    with pytest.raises(RecordingUnreadable, match="no such file"):
        read_plan(path)
    for text, said in (("{", "this is not JSON"), ("[1]", "this is not a plan"), ("{}", "holds? a sealed|key")):
        path.write_text(text, "utf-8")
        with pytest.raises((RecordingUnreadable, PlanBroken), match=said):
            read_plan(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RecordingUnreadable, match="this is not text in UTF-8"):
        read_plan(path)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("runs", "many", 'key "runs": it must be a whole number.'),
        ("order", "in out", 'key "order": it must be a list.'),
        ("window", 3, 'key "window": it must be a group of keys.'),
        ("stopping", "late", 'key "stopping": it must be a group of keys.'),
        ("alpha", -1, 'key "alpha": it must be greater than 0.'),
        ("end", "noon", "key \"end\": it must be 'speed', 'turns' or 'standstill'."),
    ],
)
def test_a_key_of_another_kind_is_refused_in_plain_words(key: str, value: object, said: str) -> None:
    with pytest.raises(RecordingUnreadable) as refused:
        plan_from_document(document(**{key: value}), "plan.json")
    assert str(refused.value) == f"plan.json, {said} Use the file that truerun plan wrote."


def test_a_plan_that_was_read_already_is_taken_as_it_is(tmp_path: Any) -> None:
    path = tmp_path / "plan.json"
    path.write_text(sealed().json(), "utf-8")
    read = read_plan(path)
    assert read_plan(read) is read
    assert read.seal.sha256 == read_plan(json.loads(path.read_text("utf-8"))).seal.sha256
