"""The plan maker's form: what was typed becomes a request for a plan, and a request what would be typed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from truerun.errors import TruerunError
from truerun.recordings.headings import column_name
from truerun.report.plan_words import BLINDING, ORDER_SETS
from truerun.trial.mishaps import CHOICES as FATES
from truerun.trial.mishaps import MISHAPS, Becomes
from truerun.units.number import whole_number
from truerun.web.excuse_fields import excuses_of, typed_excuses
from truerun.web.forms import Form

__all__ = ["CHOICES", "FATE_FIELDS", "USUAL", "request_of", "typed"]

_ENDS = (
    ("speed", "at a set speed"),
    ("turns", "after a set count of turns"),
    ("turns-back", "when the wheel first turns back"),
    ("lies-still", "when the wheel lies still"),
)
_STOPS = ("turns-back", "lies-still")

CHOICES: dict[str, tuple[tuple[str, str], ...]] = {
    "runs": tuple((str(2 * each), f"{each} + {each}") for each in (4, 6, 8, 10, 12, 16)),
    "orders": tuple(ORDER_SETS.items()),
    "end": _ENDS,
    "timing": (("hand", "by hand"), ("sensor", "by a sensor")),
    "launch": (("mechanical", "by a mechanism"), ("hand", "by hand")),
    "blinding": tuple((str(grade), words) for grade, words in BLINDING.items()),
}
"""What can be chosen, by the name of the field."""

_FATES = {
    Becomes.AGAIN: "the run is done again",
    Becomes.LEFT_OUT: "the run is left out, and not done again",
    Becomes.COUNTS: "no reason to stop: the run counts",
}

FATE_FIELDS: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = tuple(
    (f"fate-{name}", MISHAPS[name], tuple((each.value, _FATES[each]) for each in fates))
    for name, fates in FATES.items()
)
"""What is asked about mishaps: name of the field, the mishap, what may become of its run."""

_MOST_COVARIATES = 3
_OWN_COLUMNS = (
    "run-number",
    "run",
    "session",
    "condition",
    "time",
    "guess",
    "stopwatch",
    "cartridge",
    "attempt",
    "none",
)

USUAL = {
    "runs": "16",
    "orders": "blocks-of-four",
    "end": "speed",
    "timing": "hand",
    "launch": "mechanical",
    "blinding": "0",
    "change_minutes": "2",
    "warm_up_launches": "3",
}
"""What stands in the form before anything was chosen."""

_SHARES = {"margin": "margin", "hill_bound": "hill_bound", "pilot_spread": "spread", "spread": "spread"}
_SAME = ("source", "control", "orders", "timing", "launch")
_LONGEST_SETTING = 120
_NUMBERS = ("runs", "blinding", "warm_up_launches", "pilot_runs")


def request_of(form: Form) -> dict[str, Any]:
    """Read the form; what is to be put right is kept in it.

    Parameters
    ----------
    form : Form
        As it was sent.

    Returns
    -------
    dict
        Keys of a plan request; claim and answers come from the test.
    """
    names = {"source": form.needed("source", "The source"), "control": form.needed("control", "The control")}
    if names["source"] and names["source"] == names["control"]:
        form.troubles["control"] = "Source and control have the same name. Give one of them another."
    chosen = {name: form.one_of(name, name.capitalize(), [each for each, _ in CHOICES[name]]) for name in CHOICES}
    read_choices = {name: chosen[name] for name in ("orders", "timing", "launch") if name not in form.troubles}
    request: dict[str, Any] = names | read_choices
    if "runs" not in form.troubles and "blinding" not in form.troubles:
        request |= {"runs": int(chosen["runs"]), "blinding": int(chosen["blinding"])}
    stops = chosen["end"] in _STOPS
    request |= {"end": "standstill", "stop": chosen["end"]} if stops else {"end": chosen["end"]}
    read = {
        "margin": form.above_zero("margin", "The smallest effect"),
        "hill_bound": form.above_zero("hill_bound", "What the bump changes"),
        "run_minutes": form.minutes("run_minutes", "A run"),
        "change_minutes": form.minutes("change_minutes", "Setting again"),
        "sitting_minutes": form.minutes("sitting_minutes", "The longest sitting"),
        "warm_up_launches": _whole(form, "warm_up_launches", "Warm-up launches"),
        "end_setting": form.said("end_setting"),
        "launch_setting": form.said("launch_setting"),
        "mishaps": _mishaps(form),
        "covariates": _covariates(form),
        "excuses": excuses_of(form),
        **_spread(form),
    }
    for field, title in (("end_setting", "How you tell that it has ended"), ("launch_setting", "What launches it")):
        if len(form[field]) > _LONGEST_SETTING:
            form.troubles[field] = f"{title}: at most {_LONGEST_SETTING} letters."
    return request | {name: value for name, value in read.items() if value not in (None, {}, [])}


def _mishaps(form: Form) -> dict[str, str]:
    """Read what becomes of a run in which something went wrong, where it is not as usual."""
    chosen = {}
    for field, mishap, fates in FATE_FIELDS:
        if form[field]:
            form.one_of(field, mishap, [value for value, _ in fates])
        if form[field] not in ("", Becomes.AGAIN.value):
            chosen[field.removeprefix("fate-")] = form[field]
    return chosen


def _covariates(form: Form) -> list[str]:
    """Read the names of what will be measured before each launch."""
    try:
        named = [column_name(each) for each in form["covariates"].split(";") if each.strip()]
    except TruerunError as error:
        form.troubles["covariates"] = str(error)
        return []
    low = [each.casefold() for each in named]
    taken = next((each for each in named if each.casefold() in _OWN_COLUMNS), None)
    if taken is not None:
        form.troubles["covariates"] = f"“{taken}” is noted anyway. Name something else that you will measure."
    elif len(set(low)) < len(low):
        form.troubles["covariates"] = "One thing is named twice. Name each once."
    elif len(named) > _MOST_COVARIATES:
        form.troubles["covariates"] = (
            f"{len(named)} things are named; at most {_MOST_COVARIATES}, or they eat up the runs."
        )
    return named


def _spread(form: Form) -> dict[str, Any]:
    """Read the spread: from trial runs where their number is said."""
    spread, runs = form.above_zero("spread", "The spread"), _whole(form, "pilot_runs", "The number of trial runs")
    if spread is not None and runs is not None:
        return {"pilot_spread": spread, "pilot_runs": runs}
    return {"spread": spread}


def _whole(form: Form, name: str, called: str) -> int | None:
    """Read a whole number."""
    if not form[name]:
        return None
    whole = whole_number(form[name])
    if whole is None:
        form.troubles[name] = f"{called}: “{form[name][:40]}” is no whole number of at most 15 digits."
    return whole


def typed(request: Mapping[str, Any] | None) -> dict[str, str]:
    """Give a request as it would be typed, with what is usual where nothing was said.

    Examples
    --------
    >>> typed({"margin": 0.02, "end": "standstill", "stop": "lies-still"})["end"]
    'lies-still'
    """
    asked = request or {}
    shares = {field: f"{100 * asked[key]:.3g}" for key, field in _SHARES.items() if asked.get(key) is not None}
    minutes = {key: f"{asked[key]:g}" for key in ("run_minutes", "change_minutes", "sitting_minutes") if key in asked}
    same = {key: str(asked[key]) for key in (*_SAME, *_NUMBERS) if asked.get(key) is not None}
    told = {f"fate-{name}": fate for name, fate in asked.get("mishaps", {}).items()}
    told |= {key: asked.get(key) or "" for key in ("end_setting", "launch_setting")}
    told |= {"covariates": "; ".join(asked.get("covariates", ()))}
    told |= typed_excuses(asked.get("excuses", ()))
    end = {"end": str(asked.get("stop") or asked["end"])} if "end" in asked else {}
    return USUAL | same | shares | minutes | end | told
