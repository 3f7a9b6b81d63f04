"""Making a plan, drawing its order by lot and sealing it."""

from __future__ import annotations

import csv
import difflib
import io
import secrets
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from pydantic import Field, ValidationError, model_validator

from truerun.errors import PlanBroken, ValueOutOfRange
from truerun.recordings.headings import column_name
from truerun.report.plain_text import plan_text
from truerun.report.plan_words import plan_end_words
from truerun.report.run_sheet import render_run_sheet
from truerun.stats.orders import orders_for
from truerun.stats.stages import planned_look
from truerun.trial.agreement import Agreement, Claim, Excuse, Record
from truerun.trial.key_troubles import first_trouble
from truerun.trial.mishaps import require_mishaps, rule_words
from truerun.trial.plan import (
    Blinding,
    Conditions,
    End,
    Forecast,
    Measurand,
    Pilot,
    Plan,
    Role,
    Sessions,
    Stopping,
    Window,
    WindowRule,
)
from truerun.trial.planning import (
    Prospect,
    Schedule,
    chance_to_find,
    default_adjust,
    prospect,
    require_can_decide,
    schedule,
    upper_spread,
)
from truerun.trial.seal import Seal, drawn_order, seal_of
from truerun.workflow.plan_files import plan_file_text

__all__ = ["PlanRequest", "PlanResult", "make_plan", "plan", "request_from"]

SPREAD_WITHOUT_TRIAL = 0.015
"""Run-to-run spread of ln T to plan with where there were no trial runs (from memory of benches like this)."""


class PlanRequest(Record):
    """What a person says to get a plan; every key is also an option of ``truerun plan`` and a key of its TOML file."""

    claim: str = Field(min_length=1)
    against: str | None = None
    claimant: str | None = None
    source: str = Field(min_length=1)
    control: str = Field(min_length=1)
    runs: int = Field(default=16, ge=2, le=60)
    orders: str = "blocks-of-four"
    adjust: Literal["run-number", "session", "none"] | None = None
    covariates: tuple[str, ...] = ()
    end: End
    stop: Literal["turns-back", "lies-still"] | None = None
    hill_bound: float | None = Field(default=None, gt=0, lt=1)
    window: tuple[float, float] | None = None
    window_rule: bool = False
    alpha: float = Field(default=0.05, gt=0, lt=0.5)
    margin: float | None = Field(default=None, gt=0)
    claimed: float | None = None
    spread: float | None = Field(default=None, gt=0)
    pilot_spread: float | None = Field(default=None, gt=0)
    pilot_runs: int | None = Field(default=None, ge=2)
    timing: Literal["hand", "sensor"] = "hand"
    launch: Literal["hand", "mechanical"] = "mechanical"
    blinding: Literal[0, 1, 2, 3] = 0
    run_minutes: float | None = Field(default=None, gt=0)
    change_minutes: float = Field(default=2.0, ge=0)
    warm_up_launches: int = Field(default=3, ge=0)
    sitting_minutes: float | None = Field(default=None, gt=0)
    left_out_rule: str = "Only a run stopped before its time was seen, with a reason; it is then repeated."
    role: Role = Role.MAIN
    main_test: str | None = None
    measure: str = "time"
    scale: Literal["log", "linear"] = "log"
    less_is_more: bool = False
    unit: str | None = "s"
    drawn_by: Literal["lot", "bag"] = "lot"
    look_after: int | None = Field(default=None, ge=2)
    look_alpha: float = Field(default=0.01, gt=0, lt=0.5)
    spare_blocks: int = Field(default=0, ge=0, le=8)
    agreed: Agreement = Agreement()
    note: str | None = None
    end_setting: str | None = Field(default=None, max_length=120)
    launch_setting: str | None = Field(default=None, max_length=120)
    mishaps: Mapping[str, str] = Field(default_factory=dict)
    excuses: tuple[Excuse, ...] = ()

    @model_validator(mode="after")
    def _two_conditions(self) -> PlanRequest:
        if self.source == self.control:
            raise PlanBroken(
                "Source and control must have different names", f'both are "{self.source}"', "Rename one of them."
            )
        if self.margin is not None and self.margin >= 1 and self.scale == "log":
            raise PlanBroken("A margin is a share below 1", f"it is {self.margin:g}", "Give 0.02 for 2 %.")
        return self


@dataclass(frozen=True, slots=True, repr=False)
class PlanResult:
    """A sealed plan, what it can find, and how long it takes; it can show itself."""

    plan: Plan
    seal: Seal
    prospect: Prospect
    schedule: Schedule | None
    chance: float | None

    def __repr__(self) -> str:
        return f"<plan: {self.plan.runs} runs, sealed {self.seal.code}>"

    def summary(self) -> str:
        """Give the plan as plain text."""
        return plan_text(self.plan, self.seal, self.prospect, self.schedule, self.chance)

    def document(self) -> dict[str, Any]:
        """Give the plan as plain data with its seal, schema ``truerun/plan/1``."""
        return self.plan.document() | {"seal": self.seal.document()}

    def json(self) -> str:
        """Give the plan as JSON text, as it is written to a file."""
        return plan_file_text(self.plan)

    def _repr_html_(self) -> str:
        """Show the plan in a notebook."""
        from truerun.report.fragments import plan_fragment  # noqa: PLC0415  see truerun.workflow.comparing

        return plan_fragment(self.plan, self.seal, self.prospect, self.schedule)

    def run_sheet_html(self) -> str:
        """Give the run sheet to print, one HTML page."""
        return render_run_sheet(self.plan, self.seal)

    def run_sheet_csv(self) -> str:
        """Give the run sheet to fill in, as a table with comment lines."""
        text = io.StringIO()
        text.write(f"# {' '.join(self.plan.claim.words.split())}\n# Seal {self.seal.code}\n")
        if self.plan.end_setting:
            text.write(f"# A run is timed {plan_end_words(self.plan)}\n")
        if self.plan.launch_setting:
            text.write(f"# Launch: {' '.join(self.plan.launch_setting.split())}\n")
        text.write("# Fill in one time a line. A run stopped before its time was seen: write why under left_out,\n")
        text.write("# add a line with the same run and attempt 2, and do it again at once.\n")
        table = csv.writer(text, lineterminator="\n")
        heading = self.plan.measurand.name + (f" [{self.plan.measurand.unit}]" if self.plan.measurand.unit else "")
        columns = list(self.plan.covariates)
        blind = self.plan.drawn_by == "bag"
        if blind:
            text.write(
                "# Write down which cartridge was drawn; fill in the conditions when all are opened at the end.\n"
            )
            columns.append("cartridge")
        table.writerow(["run", "condition", heading, "attempt", "left_out", "session", *columns])
        session = 1
        for slot, condition in enumerate(self.plan.order, 1):
            table.writerow([slot, "" if blind else condition, "", 1, "", session, *("" for _ in columns)])
            session += slot in self.plan.sessions.breaks_after
        if self.plan.stopping.spare_order:
            text.write("# Spare blocks, only for going on openly after the last planned run: take the # away.\n")
        for slot, condition in enumerate(self.plan.stopping.spare_order, self.plan.runs + 1):
            text.write("# ")
            table.writerow([slot, "" if blind else condition, "", 1, "", session, *("" for _ in columns)])
        return text.getvalue()


def request_from(values: Mapping[str, Any], where: str = "The plan") -> PlanRequest:
    """Check what a person said.

    Parameters
    ----------
    values : mapping
        Keys of :class:`PlanRequest`; the answers of both sides under ``agreed``.
    where : str
        For messages: a file, or "The plan".

    Returns
    -------
    PlanRequest

    Raises
    ------
    ValueOutOfRange
        Naming the first key that is missing, unknown or out of range.
    """
    try:
        return PlanRequest.model_validate(values)
    except ValidationError as error:
        first = error.errors()[0]
        key, said = first_trouble(error)
        given = "missing" if first["type"] == "missing" else f'"{first["input"]}"'
        allowed = said.removeprefix("it must be ").lower()
        remedy = ""
        if first["type"] == "extra_forbidden":
            given, allowed = "not known", "a key of a plan request"
            near = difflib.get_close_matches(key, PlanRequest.model_fields, n=1)
            remedy = f"Did you mean {near[0]}?" if near else "They are the options of truerun plan, with _ for -."
        raise ValueOutOfRange(f"{where}: {key}" if key else where, given, allowed, remedy) from error


def make_plan(request: PlanRequest, *, seed: str, identity: str, made: datetime) -> PlanResult:
    """Make a plan, draw its order and seal it.

    Parameters
    ----------
    request : PlanRequest
        What was asked for.
    seed : str
        Of the draw, at least 16 characters; it is part of the sealed plan, so that the draw can be made again.
    identity : str
        Of the plan, never used before.
    made : datetime
        Now, with a time zone.

    Returns
    -------
    PlanResult

    Raises
    ------
    PlanBroken
        If the plan could not decide; says what would.
    ValueOutOfRange
        If a value does not fit.
    """
    seed = seed.strip()  # as it will be stored
    require_can_decide(request.orders, request.runs, request.alpha)
    _require_fair_end(request)
    adjust = (*_adjust(request), *(column_name(each) for each in request.covariates))
    pilot = _pilot(request)
    spread = _spread(request, pilot)
    log = request.scale == "log"
    ahead = prospect(request.orders, request.runs, adjust, request.alpha, spread=spread, logarithmic=log)
    time = _schedule(request)
    drawn = {
        "id": identity,
        "adjust": adjust,
        "seed": seed,
        "order": _drawn_names(request, request.runs, seed),
        "stopping": _stopping(request, seed),
        "sessions": Sessions(
            warm_up_launches=request.warm_up_launches,
            breaks_after=time.breaks_after if time else (),
            minutes=time.minutes if time else None,
        ),
        "made": made.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "pilot": pilot,
        "forecast": Forecast(spread=spread, drive_fraction=ahead.finds, power=ahead.power) if log else None,
    }
    sealed = Plan.model_validate(_as_requested(request) | drawn)
    return PlanResult(sealed, seal_of(sealed), ahead, time, _chance(request, adjust, spread))


def _as_requested(request: PlanRequest) -> dict[str, Any]:
    """Give those parts of a plan that are taken over as they were said."""
    same = (
        "role",
        "main_test",
        "end",
        "stop",
        "hill_bound",
        "orders",
        "drawn_by",
        "runs",
        "alpha",
        "margin",
        "claimed",
    )
    more = ("note", "end_setting", "launch_setting")
    return {name: getattr(request, name) for name in same + more} | {
        "agreed": request.agreed.model_copy(update={"excuses": (*request.agreed.excuses, *request.excuses)}),
        "mishaps": require_mishaps(request.mishaps),
        "left_out_rule": rule_words(request.left_out_rule, request.mishaps),
        "claim": Claim(words=request.claim, against=request.against, by=request.claimant),
        "conditions": Conditions(source=request.source, control=request.control),
        "measurand": Measurand(
            name=request.measure, scale=request.scale, sign=-1 if request.less_is_more else 1, unit=request.unit
        ),
        "window": _window(request),
        "blinding": Blinding(grade=request.blinding, timing=request.timing, launch=request.launch),
    }


def _drawn_names(request: PlanRequest, runs: int, seed: str) -> tuple[str, ...]:
    """Draw the order and name the condition of each run."""
    signs = drawn_order(orders_for(request.orders, runs), seed)
    return tuple(request.source if sign > 0 else request.control for sign in signs)


def _stopping(request: PlanRequest, seed: str) -> Stopping:
    """Draw the spare blocks and check that a planned look can decide anything."""
    chosen = orders_for(request.orders, request.runs)
    spare: tuple[str, ...] = ()
    if (request.spare_blocks or request.look_after) and chosen.block is None:
        raise PlanBroken(
            "Spare blocks and a planned look need an order in blocks",
            f"{request.orders} has none",
            "Choose blocks-of-four.",
        )
    if request.spare_blocks and chosen.block is not None:
        spare = _drawn_names(request, request.spare_blocks * chosen.block, f"{seed}|spare")
    if request.look_after is not None:
        first = orders_for(request.orders, request.look_after).count
        planned_look(first, chosen.count, request.alpha, request.look_alpha)
    return Stopping(look_after=request.look_after, look_alpha=request.look_alpha, spare_order=spare)


def _spread(request: PlanRequest, pilot: Pilot | None) -> float:
    """Give the spread to plan with: as said, else from trial runs, else the usual one."""
    if request.spread is not None:
        return request.spread
    if pilot is not None:
        return pilot.upper_spread
    if request.scale == "linear":
        raise ValueOutOfRange(
            "The spread", "not known", "given in the unit of the column", "Make a few trial runs first."
        )
    return SPREAD_WITHOUT_TRIAL


def plan(
    values: Mapping[str, Any] | None = None,
    *,
    seed: str | None = None,
    identity: str | None = None,
    made: datetime | None = None,
    **more: Any,
) -> PlanResult:
    """Make and seal a plan from plain values; seed, identity and time are made up where they are not given.

    Parameters
    ----------
    values : mapping, optional
        Keys of :class:`PlanRequest`.
    seed, identity, made
        As in :func:`make_plan`; None: from the system's source of chance, and now.
    **more : object
        Further keys, or all of them.

    Returns
    -------
    PlanResult

    Examples
    --------
    >>> sealed = plan(claim="The arc makes it gain.", source="arc in", control="arc out", end="speed", spread=0.0154)
    >>> sealed.plan.runs, sealed.prospect.orders
    (16, 1296)
    """
    request = request_from({**(values or {}), **more})
    return make_plan(
        request,
        seed=seed or secrets.token_hex(32),
        identity=identity or str(uuid.uuid4()),
        made=made or datetime.now(UTC),
    )


def _adjust(request: PlanRequest) -> tuple[str, ...]:
    """Give what is adjusted for besides covariates."""
    if request.adjust is None:
        return default_adjust(request.orders)
    return () if request.adjust == "none" else (request.adjust,)


def _require_fair_end(request: PlanRequest) -> None:
    """Refuse a plan whose end would stop its own verdict."""
    if request.end is not End.STANDSTILL or request.measure != "time":
        return
    if request.stop is None:
        raise ValueOutOfRange(
            "The end",
            "standstill, without saying which stop",
            "the moment when the wheel turns back, or when it lies still",
            "Say stop = turns-back or lies-still; better, time between two speeds.",
        )
    if request.hill_bound is None or request.launch == "hand":
        lacking = (
            "nothing bounds what a magnetic bump does to such a time"
            if request.hill_bound is None
            else ("how hard a hand pushes is unknown")
        )
        raise PlanBroken(
            "A plan timed to standstill cannot decide",
            lacking,
            "Time between two speeds, both far above the speed at which the bump catches the wheel, or count turns.",
        )


def _pilot(request: PlanRequest) -> Pilot | None:
    """Give the trial runs that were seen."""
    if request.pilot_spread is None:
        return None
    freedom = (request.pilot_runs or 8) - 2
    if freedom < 1:
        raise ValueOutOfRange("The number of trial runs", request.pilot_runs, "at least 3")
    upper = upper_spread(request.pilot_spread, freedom)
    return Pilot(spread=request.pilot_spread, degrees_of_freedom=freedom, upper_spread=upper)


def _window(request: PlanRequest) -> Window | WindowRule | None:
    """Give the window of speeds as numbers, or the rule that finds it from the recordings."""
    if request.window_rule and request.window is not None:
        found = "both were given"
        raise PlanBroken("A window is sealed as two speeds or as the rule", found, "Leave one of them out.")
    if request.window_rule:
        return WindowRule()
    if request.window is None:
        return None
    start, stop = request.window
    if not start > stop > 0:
        raise ValueOutOfRange("The window", f"{start:g} to {stop:g} rad/s", "from a speed down to a slower one above 0")
    return Window.model_validate({"from": start, "to": stop})


def _schedule(request: PlanRequest) -> Schedule | None:
    """Add up the time where the length of a run was said."""
    if request.run_minutes is None:
        return None
    return schedule(
        orders_for(request.orders, request.runs),
        run_minutes=request.run_minutes,
        change_minutes=request.change_minutes,
        warm_up_launches=request.warm_up_launches,
        sitting_minutes=request.sitting_minutes,
    )


def _chance(request: PlanRequest, adjust: tuple[str, ...], spread: float) -> float | None:
    """Give the probability to find what is at stake."""
    size = request.claimed if request.claimed is not None else request.margin
    if size is None or request.scale == "linear":
        return None
    return chance_to_find(size, request.orders, request.runs, adjust=adjust, alpha=request.alpha, spread=spread)
