"""Every sentence that a check can say, in one place.

Each entry gives the severity, the sentence, its size and what to do. Text in braces is filled in by
:func:`finding`. To add a check: add its entry here, then call :func:`finding` where the check is made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter

from truerun.findings.finding import Finding, Severity

__all__ = ["CHECKS", "Template", "finding"]


@dataclass(frozen=True, slots=True)
class Template:
    """The words of one check; ``size`` and ``remedy`` may be None."""

    severity: Severity
    sentence: str
    size: str | None = None
    remedy: str | None = None

    def fields(self) -> frozenset[str]:
        """Names that must be filled in."""
        parts = (self.sentence, self.size or "", self.remedy or "")
        return frozenset(name for part in parts for _, name, _, _ in Formatter().parse(part) if name)


NOTE, DOUBT, STOP = Severity

CHECKS: dict[str, Template] = {
    "aborted-seen": Template(
        DOUBT,
        "{runs} stopped after the time had been seen. It stays in the list, reckoned at its worst for each side.",
        "{count} of {all} runs",
        "Next time decide before the time shows whether all was well.",
    ),
    "absent": Template(
        NOTE,
        "When the plan was sealed, {who} had not answered whether it is fair and what would change their mind.",
        None,
        "Show them the plan and the result; their answer can be added to the report.",
    ),
    "adjusted-unsealed": Template(
        DOUBT,
        "The result is adjusted for {columns}, but no sealed plan says so.",
        None,
        "Name what is adjusted for in the plan, before the first run.",
    ),
    "after-rundown": Template(
        NOTE,
        "After the free rundown the speed moves up again: the last {rows} rows, after {time}, are left out.",
        None,
        None,
    ),
    "before-rundown": Template(
        NOTE,
        "Before the free rundown the speed rises: the first {rows} rows, before {time}, are left out as a run-up or a push.",
        None,
        "Begin the recording after the release.",
    ),
    "beyond-plan": Template(
        DOUBT,
        "The test went on after the planned {planned} runs, so the planned verdict is withdrawn. "
        "Only the running bet, block by block, decides.",
        "{extra} runs more",
        "Stop after the planned run next time, or plan more runs.",
    ),
    "bounces": Template(
        NOTE,
        "{count} of {all} passes follow another one by {apart} or less, far too soon for a mark: the sensor bounced. The "
        "first of each was kept: {places}.",
        "{count} of {all} passes",
        None,
    ),
    "capture-bounded": Template(
        DOUBT,
        "The runs were timed to standstill. The magnetic bump alone could have changed those times by {bound} at most, "
        "which is less than the difference found.",
        "{bound} of the time",
        "Time between two speeds, both far above the speed at which the bump catches the wheel, or count turns.",
    ),
    "capture-explains": Template(
        NOTE,
        "A magnetic bump in one of the conditions, of {height} of the energy at launch from trough to crest, could make the "
        "whole difference of {difference} without any loss. It would catch the wheel below {caught} of its launch speed.",
        "{height} of the launch energy",
        "Reduce a recording of one run with truerun rundown: it shows the bump, or how large a bump could not have been seen.",
    ),
    "cause-not-isolated": Template(
        DOUBT,
        "What {does} is not isolated: {suspects} would explain it too.",
        None,
        "Next, in this order: {controls}.",
    ),
    "claims-differ": Template(
        DOUBT,
        "These tests are of different claims: {claims}.",
        None,
        "Pool tests of one claim, or say why these belong together.",
    ),
    "clock-restarted": Template(
        DOUBT,
        "The clock started again ({places}) and nothing tells how long it stood. Only the longest stretch, {used} of "
        "{all} passes, is used.",
        "{used} of {all} passes used",
        "Record with a clock that runs through.",
    ),
    "clock-wrapped": Template(
        NOTE,
        "The clock started again from its lowest value, like {name}, and time was counted on: {places}.",
        None,
        None,
    ),
    "coarse-reading": Template(
        NOTE,
        "The times were written in steps of {step}, which is coarse beside the spread of the runs.",
        "one step is {share} of a time",
        "Write all digits that the watch shows.",
    ),
    "coil-early": Template(
        NOTE,
        "The input behind the coil makes slow passes come early: by {shift} at {speed}. The times were corrected for it.",
        "{shift} at {speed}",
        None,
    ),
    "coil-too-slow": Template(
        DOUBT,
        "Below {speed} the correction for the input behind the coil leans on the shape of the pulse.",
        "below {speed}",
        "End the window above that, or use an input that passes slower signals.",
    ),
    "control-without": Template(
        DOUBT,
        "In this control the difference was not found again: {controls}. So it may come from {suspects}.",
        None,
        "Repeat the control with at least as many runs as the main test.",
    ),
    "count-not-clean": Template(
        DOUBT,
        "Nowhere do marks pass for three turns without a fault or much scatter, so the numbers of the passes rest on weak ground.",
        None,
        "Mend the sensor or its distance from the marks, and record again.",
    ),
    "count-uncertain": Template(
        DOUBT,
        "At {place} the passes can be numbered in more than one way. The likeliest one was used.",
        None,
        "Look there; if the wheel was touched or the sensor failed, use only the part before or after.",
    ),
    "counter-differs": Template(
        DOUBT,
        "The counter beside the times disagrees with the passes in {count}: {places}. The times were believed.",
        "{count}",
        "Look there for passes that the sensor missed or saw twice.",
    ),
    "counter-lags": Template(
        NOTE,
        "The counter runs one row behind the speeds beside it: it fits them better when it is moved up by one row.",
        None,
        "Take times and counts from the same row of the log, or say how the log is written.",
    ),
    "decided-at-look": Template(
        NOTE,
        "The test ended at the look that was planned after run {run} of {planned}, at a level of {level} %.",
        None,
        None,
    ),
    "display-timed-out": Template(
        NOTE,
        "{count} of the speeds are 0 although the wheel still turned, by the rows before; a display does this when no mark passes in time. They are left out.",
        "last speed shown {speed}",
        "More marks on the wheel let the display read lower speeds.",
    ),
    "drag-wanders": Template(
        NOTE,
        "The drag wandered during the run. The uncertainties count this in; from the scatter of the readings alone they would come out "
        "{ratio} times too small.",
        "{ratio} times",
        "Let the bearing run warm before the first run, and keep draughts away.",
    ),
    "drift": Template(
        NOTE,
        "Over the test the times moved by {drift}, whatever the condition. {meaning}",
        "{drift} from first to last run",
        None,
    ),
    "encoding-guessed": Template(
        NOTE,
        "The table is not written in UTF-8; it was read as Western European text (Windows-1252).",
        None,
        "Look at names with accents; if they are wrong, save the table in UTF-8.",
    ),
    "end-left-out": Template(
        NOTE,
        "After {place} the passes no longer follow one another as marks of a turning wheel: it rocked, stopped or was touched. "
        "The rest is not used.",
        "{passes} left out",
        None,
    ),
    "end-not-stated": Template(
        STOP,
        "Nobody said what ended a run, so it counts as timed to standstill. A magnetic bump alone, without any loss, "
        "changes such a time by 6 to 36 %, in either direction.",
        "6 to 36 % of the time",
        "Say --end speed or --end turns if that is how the runs were timed; else time between two speeds, or count turns.",
    ),
    "empty-places": Template(
        DOUBT,
        "Nothing says that dummies of the same mass and shape sat in the empty places, so mass, balance and air changed along.",
        None,
        "Fill the empty places with dummies of the same mass and shape, not magnetised, and say --dummies.",
    ),
    "empty-tail": Template(
        NOTE,
        "{path} ends with {rows} rows in which no cell is filled. They were left out.",
        "{rows} rows",
        "Nothing, if the recording was stopped there.",
    ),
    "few-frames": Template(
        NOTE,
        "From one reading to the next the wheel moves by up to {share} of the distance between spots that look alike.",
        "{share} of that distance",
        "Record more frames a second, or use fewer spots: a quarter is a safe limit.",
    ),
    "few-left-to-compare": Template(
        DOUBT,
        "What is adjusted for ({columns}) runs nearly along with the order of the conditions.",
        "only {share} of the comparison is left",
        "Draw a fresh order, or adjust for less.",
    ),
    "few-releases": Template(
        NOTE,
        "Only {count} releases moved; {advised} or more, all round the turn, show the bump better.",
        None,
        "Release at more places.",
    ),
    "few-swings": Template(
        NOTE,
        "With so few turning points dry drag cannot be told from viscous drag; all of it is given as viscous.",
        "{count} turning points, at least {least} are needed",
        "Record until the swings have become small.",
    ),
    "film-late": Template(
        NOTE,
        "The film sees the wheel at slightly different times at different angles, as a camera does that reads its rows one "
        "after the other. The result allows for it.",
        "up to {delay} apart",
        None,
    ),
    "first-edges": Template(
        DOUBT,
        "{count} of {all} passes have no usable second edge, so the first edges were used. Their times depend on the threshold.",
        "{count} of {all} passes",
        None,
    ),
    "fit-misfit": Template(
        DOUBT,
        "The passes lie {ratio} times as far from the fitted motion as their stated accuracy allows.",
        "{ratio} times",
        "Look at what the fit leaves over: a loose mark, a knock or a draught shows there as a pattern.",
    ),
    "fit-rounding": Template(
        DOUBT,
        "The last digits of this fit were lost in rounding; its uncertainties are too small.",
        None,
        "Record over a wider range of speeds.",
    ),
    "fit-weak": Template(
        DOUBT,
        "This range of speeds hardly tells the parts of the drag apart. Their sum is good, the parts are not.",
        None,
        "Record over a wider range of speeds, best from ten times the final speed down.",
    ),
    "forms-alike": Template(
        NOTE,
        "These {points} points cannot tell the {count} forms of drag apart: {forms}.",
        None,
        "Take no single term for its cause. Record over a wider range of speeds.",
    ),
    "friction-open": Template(
        NOTE,
        "The swings do not tell whether dry or viscous drag stops them: a straight line and an exponential fit nearly alike.",
        "{count} turning points",
        "Let it swing from higher up, and record until the swings have become small.",
    ),
    "guessed-too-well": Template(
        DOUBT,
        "Somebody who was not to know which was which guessed right in {matches} of {answered} runs. Luck alone does this in "
        "{luck} of {orders} orders.",
        "{matches} of {answered} guesses",
        "Find out what gave it away, and hide it, before the next test.",
    ),
    "guesses": Template(
        NOTE,
        "Guesses of which was which were right in {matches} of {answered} runs, as luck would have it.",
        "{matches} of {answered} guesses",
        None,
    ),
    "hand-allowance": Template(
        DOUBT,
        "Times were taken by a hand that knew which was which. The span lies beside zero by less than such a hand could "
        "make, so it does not count as a difference.",
        "{allowance}",
        "Let a sensor time the runs, or let somebody time them who does not know the condition.",
    ),
    "heads-unknown": Template(
        DOUBT,
        "The last lines of {place} were not kept on this computer, so it cannot be told whether its end was cut off.",
        None,
        "Compare the last line with the one in a printed report. From now on it is kept.",
    ),
    "hill-unseen": Template(
        NOTE,
        "With {marks} a magnetic bump cannot be seen, and so not the speed below which it catches the wheel.",
        None,
        "Put at least four marks on the wheel, better twelve.",
    ),
    "keepers": Template(
        NOTE,
        "{count} timekeepers: one reading scatters by {scatter}; {latest} reads {offset} later than their mean. The runs are "
        "corrected for that.",
        "{scatter} a reading",
        None,
    ),
    "large-swings": Template(
        NOTE,
        "The first {count} half swings are left out: they are so large that they take up to {longer} longer than small ones.",
        "{count} half swings",
        None,
    ),
    "last-digits": Template(
        NOTE,
        "{round} of {all} times end in 0 or 5; a fifth is expected.",
        "luck does this {p} times in 100",
        "Read all digits, or let a sensor time the runs.",
    ),
    "last-line-cut": Template(
        NOTE,
        "The last line of {path} breaks off, as where a logger loses its power. It was left out.",
        None,
        "Nothing, if the recording was stopped there.",
    ),
    "launch-by-hand": Template(
        STOP,
        "The wheel was pushed by hand and timed to standstill: how hard it was pushed is unknown.",
        None,
        "Launch by a falling weight, or time between two speeds that every launch exceeds.",
    ),
    "launch-differs": Template(
        DOUBT,
        'By the column "{column}" the launches with "{source}" were {difference} {direction} than with "{control}".',
        "up to {effect} of the time",
        "Launch by a falling weight, or name this column in the plan as adjusted for.",
    ),
    "launch-left-out": Template(
        NOTE,
        "The first turns gained far faster than any later one: they were taken for the launch and left out.",
        "{turns} turns",
        None,
    ),
    "left-out-blind": Template(
        NOTE,
        "{runs} left out before the time was seen and not repeated; the list reckons with the remaining runs.",
        "{count} of {all} runs",
        "Repeat such a run at once, in the same place and with the same condition.",
    ),
    "lines-above-headings": Template(
        NOTE,
        "{places} above the headings of the table: not read.",
        None,
        "Nothing, if no run stands there.",
    ),
    "look-goes-on": Template(
        NOTE,
        "The look that was planned after run {run} decides nothing. What the runs say stays covered.",
        None,
        "Go on to the last planned run.",
    ),
    "look-standstill": Template(
        DOUBT,
        "What ended these runs was a stop, or nobody said. Magnets can stop a slow wheel early, or let it rock for longer, and "
        "lose nothing by it: 6 to 36 % of the time, in either direction.",
        "6 to 36 % of the time",
        "Time between two speeds, both far above the speed at which the bump catches the wheel, or count turns.",
    ),
    "mark-column-differs": Template(
        DOUBT,
        "The column of marks disagrees with the order of the passes in {count} of {all} places: {places}. The times were believed.",
        "{count} of {all} places",
        "Look there for passes that the sensor missed or saw twice.",
    ),
    "mark-numbers-differ": Template(
        DOUBT,
        "By their gaps the numbers are {shift} further on than the column of marks says. The gaps were believed.",
        "{shift}",
        "Check from which mark the angles were counted.",
    ),
    "marks-late": Template(
        NOTE,
        "The marks are registered at moments of their own, by the same times at any speed, as a camera or uneven magnets do "
        "it. The result allows for it. With few marks a bump of many crests can look the same.",
        "up to {apart} apart",
        "Make the marks alike, and let them pass the sensor at one height.",
    ),
    "marks-repeat": Template(
        DOUBT,
        "The intervals repeat every {found} passes already, and {stated} marks were stated. The marks or the magnets repeat "
        "round the wheel, there are {found} marks, or each was logged at both edges.",
        "a factor of {stated}/{found} in speed",
        "Count the marks on the wheel.",
    ),
    "middles": Template(
        NOTE,
        "Both edges of {count} marks were timed; their middle is used, which does not depend on the threshold. {left} passes without "
        "a usable second edge are left out.",
        None,
        None,
    ),
    "negative-drag-term": Template(
        NOTE,
        "The {term} part of the drag comes out negative. {meaning}",
        None,
        None,
    ),
    "no-blocks": Template(
        STOP,
        "The test did not stop where it was planned, and its orders have no blocks: nothing in it can decide any more.",
        None,
        "Plan a fresh test in blocks; these runs may serve as its trial.",
    ),
    "no-common-window": Template(
        DOUBT,
        "No window of speeds is held by all runs. {drive} Compared were the losses of each run at its own speeds, "
        "against what {against} lost there.",
        None,
        "Launch all runs faster than the slowest one, and record until they are slow.",
    ),
    "not-sealed": Template(
        DOUBT,
        "There is no sealed plan. That the order was drawn by lot from {orders}, and the number of runs fixed before the "
        "first, is somebody's word.",
        None,
        "Seal a plan with truerun plan before the next test.",
    ),
    "one-run-each-way": Template(
        NOTE,
        "One direction has only one run, so nothing says how well a run repeats; the uncertainty is that within a run.",
        None,
        "Make at least two runs each way, in turn.",
    ),
    "operator-knew": Template(
        NOTE,
        "The person at the wheel knew which was which.",
        None,
        "Use hidden cartridges{or_else}.",
    ),
    "order-cannot-decide": Template(
        STOP,
        "The order can only be compared with {orders} others like it: even a perfect split would come by luck in "
        "{luck} of {orders}.",
        None,
        "Make more runs: 6 + 6 in blocks of four, or 8 + 8.",
    ),
    "order-contradicted": Template(
        DOUBT,
        'Run {later} was started before run {earlier}, by the column "{column}".',
        None,
        "Correct the run numbers or the times of day: the order of the runs decides the result.",
    ),
    "order-not-drawn": Template(
        STOP,
        "Nothing says that the order of the runs was drawn by lot. Drift of the bench could make up the whole result.",
        "{drift} from first to last run",
        "Seal a plan with truerun plan and repeat; these runs may serve as its trial. If the order was drawn, say from "
        "which set with --orders.",
    ),
    "order-not-in-set": Template(
        STOP,
        "The order of these {runs} runs does not belong to the set {orders}, so it cannot have been drawn from it.",
        None,
        "Name the set it was drawn from, or plan a fresh test.",
    ),
    "order-not-kept": Template(
        STOP,
        "In {count} of {all} places the other condition was set up than the one drawn.",
        "{count} of {all} runs",
        "Repeat the test and follow the sheet; a check of the condition before each launch takes seconds.",
    ),
    "pass-count-differs": Template(
        DOUBT,
        'With "{more}" {many} of the passes are missing, with "{less}" {few}. The sensor does not see both alike.',
        "{size} of the passes",
        "Move the sensor away from the magnets, or use one that feels no magnets, and look whether this stays.",
    ),
    "passes-extra": Template(
        NOTE,
        "{passes} no mark: {places}. They are left out.",
        "{share}",
        None,
    ),
    "passes-missed": Template(
        NOTE,
        "{passes} missing, after {places}. The others were numbered with these gaps.",
        "{share} of the passes",
        None,
    ),
    "passes-swapped": Template(
        NOTE,
        "{pairs} of passes stood in the wrong order and were exchanged: {places}.",
        None,
        None,
    ),
    "planted-found": Template(
        NOTE,
        "A known help of {known} was hung on, and the test found it: {found}, between {low} and {high}.",
        None,
        None,
    ),
    "planted-missed": Template(
        DOUBT,
        "A known help of {known} was hung on, but the test found {found}, between {low} and {high}, which does not include it.",
        "{gap} away",
        "Find out why before believing any other test on this bench.",
    ),
    "planted-not-seen": Template(
        DOUBT,
        "A known help of {known} was hung on, and the test was too small to see it: between {low} and {high}.",
        None,
        "Make more runs, or hang on a larger help.",
    ),
    "push-left-out": Template(
        NOTE,
        "Before {place} the wheel was still driven or pushed. Only what follows is used.",
        "{passes} left out",
        None,
    ),
    "release-misfit": Template(
        DOUBT,
        "The turning angles scatter {ratio} times as much as stated: the bump has more harmonics, or the drag is not dry alone.",
        None,
        "Ask for one harmonic more; read the angles again.",
    ),
    "repeated": Template(
        NOTE,
        "{runs} repeated in the same place: {reasons}.",
        "{count} of {all} runs",
        None,
    ),
    "residuals-hang-together": Template(
        NOTE,
        "Neighbouring residuals hang together, as they do when the drag wanders; the uncertainty given allows for that.",
        "correlation {lag} from one reading to the next",
        None,
    ),
    "rig-not-recorded": Template(
        NOTE,
        "Nothing was written down about level, balance, and whether the wheel kept its mass when the source was taken off.",
        None,
        "Weigh what is taken off and put the same mass back, not magnetised; level the axle to 1 mm/m.",
    ),
    "rise-left-out": Template(
        NOTE,
        "After {place} the speed rises again. Only what comes before is used.",
        "{passes} left out",
        None,
    ),
    "rows-of-one-time": Template(
        NOTE,
        "{rows} rows bear only {stamps} different times; of those of one time the first is used.",
        None,
        "Log times finely enough for each reading to have its own.",
    ),
    "run-far-off": Template(
        NOTE,
        "Run {slot} lies far from all others, whatever the condition. It counts like any other.",
        "{distance} times the usual spread",
        "Look into what happened there; do not leave it out.",
    ),
    "run-numbers-assumed": Template(
        DOUBT,
        "The table has no column of run numbers; the order of its {place}s was taken as the order in time.",
        None,
        "Add a column run with 1, 2, 3, ... in the order in which the runs were made.",
    ),
    "same-differs": Template(
        DOUBT,
        "Same against same must show nothing, and it shows {found}, between {low} and {high}.",
        "{found}",
        "Something else changed with the label: find it before believing any other test on this bench.",
    ),
    "sampled-orders": Template(
        NOTE,
        "The set has {all} orders, too many to list; {sampled} were drawn from the seed and the one used was added.",
        None,
        None,
    ),
    "screening": Template(
        STOP,
        "This was a screening of several variants: the best of many looks better by luck.",
        None,
        "Test the candidate again, alone and freshly sealed.",
    ),
    "sealed-until-complete": Template(
        NOTE,
        "Sealed until run {planned}. {done} of {planned} runs are done; what they say stays covered until the last one.",
        None,
        "Go on with run {next}. To look all the same, say --break-seal: it cannot be undone, and the verdict then rests "
        "on the running bet alone.",
    ),
    "second-opinion": Template(
        DOUBT,
        "{name} does not agree on which side of zero the difference lies.",
        "{low} to {high}",
        "The sealed rule decides. Tell your readers of both.",
    ),
    "slow-turns-left-out": Template(
        NOTE,
        "The slowest turns, below {speed}, are left out of the fit: so near to being caught the motion hangs on the smallest "
        "detail of the bump.",
        None,
        None,
    ),
    "speed-misfit": Template(
        DOUBT,
        "The readings scatter round the fitted curve {ratio} times as much as their stated uncertainty.",
        None,
        "Try another form of drag; look at the residuals; check the stated uncertainty.",
    ),
    "speed-off-by-two": Template(
        DOUBT,
        "The speeds are {factor} than the counter says with {marks} marks a turn. Either the instrument or the number of marks is set wrongly.",
        None,
        "Count the passes of one slow turn by hand, and correct the one that is wrong.",
    ),
    "speed-sustained": Template(
        DOUBT,
        "The wheel did not slow down: its speed went from {first} to {last} rad/s. That is what a wheel does that is "
        "driven, and also one that somebody still pushes; a recording cannot tell the two apart.",
        None,
        "Film the launch and the hands; look for whatever else could feed energy in.",
    ),
    "speed-without-angle": Template(
        NOTE,
        "A table of speeds holds no angles, so a magnetic bump is not seen. Where the window ends at three times the speed at which the bump catches the wheel, the moment of a speed is off by −0.8 to +0.7 %, as the launch falls; nearer to that speed by more.",
        "−0.8 to +0.7 % of the time",
        "Log the passes of marks, or let the wheel run on to rest with the source in and note where the bump catches it.",
    ),
    "spread-differs": Template(
        DOUBT,
        'With "{more}" the runs scatter {ratio} times as much as with "{less}".',
        "{ratio} times",
        "Look for rubbing or a loose part before believing the difference.",
    ),
    "sqlite-can-race": Template(
        NOTE,
        "The SQLite of this Python ({version}) can, very seldom, damage its log when two programs write at once.",
        None,
        "Let one program at a time write, or use a Python with SQLite 3.51.3 or later.",
    ),
    "stamps-repeated": Template(
        NOTE,
        "{rows} speeds bear only {stamps} different times; those of one time are taken as one speed, their mean.",
        None,
        "Log times finely enough for each reading to have its own.",
    ),
    "standstill": Template(
        STOP,
        "The runs were timed to standstill, and nothing bounds what the magnetic bump alone does to such a time: 6 to 36 % "
        "without any loss, in either direction.",
        "6 to 36 % of the time",
        "Time between two speeds, both far above the speed at which the bump catches the wheel, or count turns; or state a "
        "measured bound with --hill-bound.",
    ),
    "standstill-too-large": Template(
        STOP,
        "The runs were timed to standstill. The magnetic bump alone could have changed those times by {bound}, which is no "
        "less than the difference found.",
        "{bound} of the time",
        "Time between two speeds, both far above the speed at which the bump catches the wheel, or count turns.",
    ),
    "start-left-out": Template(
        NOTE,
        "Before {place} the passes do not follow one another as marks of a freely turning wheel. They are not used.",
        "{passes} left out",
        None,
    ),
    "start-mark-open": Template(
        DOUBT,
        "The gaps between passes do not tell which mark is the first. Where on the wheel the bump sits stays open.",
        None,
        "Say it with a column of marks or a trigger mark, or use marks without symmetry.",
    ),
    "stopped-early": Template(
        DOUBT,
        "The test was stopped after {done} of {planned} runs, so the planned verdict is withdrawn. Only the running bet, "
        "block by block, decides.",
        "{missing} runs fewer",
        "The remaining runs may still be made, in their order; the running bet may be read again after each block.",
    ),
    "stuck-where-it-should-move": Template(
        DOUBT,
        "{count} of {all} releases that stayed where they were should have moved by the fitted bump.",
        "{count} of {all} releases",
        "Release there again, without touching the wheel; look for dirt in the bearing.",
    ),
    "swings-negative-drag": Template(
        DOUBT,
        "The {part} part of the drag from the swings comes out below nothing. Something else than drag shapes them: a bump "
        "that is not round at its bottom, a support that gives way, or a hand.",
        None,
        "Let it swing in smaller swings on a firm stand.",
    ),
    "taps": Template(
        NOTE,
        "Counted by hand: {taps}. One tap scatters by {scatter}.",
        "{scatter} a tap",
        None,
    ),
    "terms-trade-off": Template(
        NOTE,
        "Over these speeds the {terms} parts of the drag can stand in for each other: their sum is known far better than either.",
        "correlation {tie}",
        "Record over a wider range of speeds.",
    ),
    "tests-missing": Template(
        DOUBT,
        "Not every test of this claim is here; others answer to {ids}.",
        None,
        "Add it, whatever it found: tests that are left out bend what the others say together.",
    ),
    "tests-not-sealed": Template(
        DOUBT,
        "No sealed plan: {names}. Nobody can tell how many such tests were made and not shown.",
        None,
        "Seal a plan with truerun plan before the next test.",
    ),
    "times-coarse": Template(
        DOUBT,
        "The times are written in steps of {step}, up to {share} of the shortest interval used. {left} that came faster than "
        "that can tell were left out.",
        "{share} of an interval",
        "Record times in finer steps.",
    ),
    "times-corrected": Template(
        NOTE,
        "{runs} corrected after the time had been written down. The time as corrected counts.",
        "{count} of {all} runs",
        "Show what the corrected time rests on, such as a film; the logbook keeps the first time and the reason.",
    ),
    "times-missing": Template(
        NOTE,
        "{count} of {all} passes have no time and are left out: number {places}.",
        "{count} of {all} passes",
        None,
    ),
    "track-jumps": Template(
        NOTE,
        "The track jumps to another place and back {count} times; these turnings are left out.",
        None,
        "Look at the film there; mark the spot more boldly.",
    ),
    "track-misfit": Template(
        DOUBT,
        "The angles scatter round the fitted motion {ratio} times as much as their stated uncertainty.",
        None,
        "Try another form of drag, a bump, or the delay of the camera; look at the residuals.",
    ),
    "trigger-differs": Template(
        DOUBT,
        "Between two passes of the trigger mark there should be {marks} marks; {count} of {all} turns have another number, the first "
        "before {place}.",
        "{count} of {all} turns",
        "Look there for passes that were missed or seen twice.",
    ),
    "two-impressions": Template(
        NOTE,
        "By the stopwatch, to standstill, the runs with {source} look like {watch} of the losses; over the agreed speeds "
        "they show {fair}. Outside these speeds a run took {with_source} s with {source}, {with_control} s with {control}: "
        "how long a wheel rocks in a magnetic bump before it lies still says nothing of what a turn costs. The verdict "
        "rests on the agreed speeds.",
        "{size}",
        None,
    ),
    "unfinished": Template(
        DOUBT,
        "{count} of {all} runs were still going after {limit}. Every time is counted up to there, so the difference is at "
        "least what is shown.",
        "{count} of {all} runs",
        "Time to a faster end speed, which every run reaches.",
    ),
    "unit-assumed": Template(
        NOTE,
        'The heading "{heading}" names no unit; the times were read as seconds.',
        None,
        "Write the unit into the heading, such as time [s].",
    ),
    "unit-doubtful": Template(
        DOUBT,
        'The heading "{heading}" names no unit, and read as seconds the times are odd for a rundown.',
        "{size}, the middle one of the times",
        "Write the unit into the heading, such as time [ms] or time [h].",
    ),
    "well-not-round": Template(
        NOTE,
        "Large and small swings differ much in how long they take, from {longest} to {shortest}: the bottom of the well is not round. Curvature, dry and viscous drag hold for its smallest swings only.",
        None,
        "Let it rock with smaller swings.",
    ),
    "which-stop": Template(
        STOP,
        '"Stopped" can mean two moments, when the wheel first turns back and when it lies still. They give opposite signs.',
        None,
        "Say which with --stop turns-back or --stop lies-still.",
    ),
    "window-end-moved": Template(
        DOUBT,
        "Not every run fell to the end of the window. The end moved up to the lowest speed that all runs fell through.",
        "from {sealed} to {moved} rad/s",
        "Record until the wheel is slower than the end of the window.",
    ),
    "window-not-sealed": Template(
        DOUBT,
        "No window was sealed before the first run. It was found from all recordings together, blind to the conditions: "
        "from the slowest launch to three times the highest speed at which the magnetic bump caught the wheel.",
        None,
        "Seal the window, or this rule, in the plan.",
    ),
    "window-start-moved": Template(
        DOUBT,
        "One launch was slower than the start of the window. The start moved down to that launch, for all runs alike.",
        "from {sealed} to {moved} rad/s",
        "Launch faster than the start of the window, with something to spare.",
    ),
    "windows-differ": Template(
        DOUBT,
        "The tests were not timed over the same speeds. A source need not do the same at other speeds.",
        None,
        "Time the next test over the same speeds.",
    ),
    "wrong-set-up": Template(
        DOUBT,
        "{runs} set up with the other condition than the one drawn, and counted as drawn. That can hide a difference; it "
        "cannot make one up.",
        "{count} of {all} runs",
        "Check the condition before each launch.",
    ),
}
"""The words of every check, by its identifier."""


def finding(
    check: str, words: Mapping[str, object] | None = None, /, *, severity: Severity | None = None, **more: object
) -> Finding:
    """Fill in the sentence of a check.

    Parameters
    ----------
    check : str
        Key of the catalogue.
    words : mapping, optional
        Values for the names in braces, already formatted with their units.
    severity : Severity, optional
        Overrides the usual weight of this check.
    **more : object
        Further values, or all of them.

    Returns
    -------
    Finding

    Raises
    ------
    KeyError
        If the check or one of its fields is unknown (a mistake in truerun, not of its user).
    """
    template = CHECKS[check]
    fields = {**(words or {}), **more}
    return Finding(
        check,
        severity or template.severity,
        template.sentence.format_map(fields),
        template.size.format_map(fields) if template.size else None,
        template.remedy.format_map(fields) if template.remedy else None,
    )
