"""What is said about several tests together, many variants and many doses; text in braces is filled in."""

from __future__ import annotations

__all__ = ["DOSE_WORDS", "POOL_WORDS", "SCREENING_WORDS"]

POOL_WORDS: dict[str, str] = {
    "adds-energy": "Together: the source adds energy.",
    "takes-energy": "Together: the source takes energy.",
    "higher": "Together: {name} is higher with the source.",
    "lower": "Together: {name} is lower with the source.",
    "no-difference-found": "Together: no difference found.",
    "side-by-side": "Two tests, side by side.",
    "nothing": "Too few tests to put together.",
    "pooled": "Taken together, {count} tests put the {what} at {value}, between {low} and {high}; this method is right "
    "{coverage} times in 100.",
    "two": "From three tests on they are pooled; two stand side by side.",
    "too-few": "Of {all} tests {count} can be used. Add finished tests of the same claim.",
    "luck": " Is there anything at all? Luck alone does as much in {luck} ways to draw their orders.",
    "not-alike": " So there is something in one of them at least, but not the same in all.",
    "bet": " A running bet through all {count} tests, one after the other, stands at your stake times {evidence}.",
    "hand": " The span lies beside zero by less than the {allowance} that timing by hand could make.",
    "cause": " More tests make the figure surer, not its cause: what each of them leaves standing still stands.",
    "prediction": "between {low} and {high}; with few tests this is right 88 to 100 times in 100, as measured",
    "in-plan": "Test {number} of {of} of this claim",
    "not-complete": "its planned runs are not all done; what they say stays covered",
    "not-fair": "it is not a fair test: {first}",
    "control": "it is a test of something else: {role}",
    "withdrawn": "it did not stop where it was planned; only its running bet counts",
    "unfinished": "runs were still going at the limit, so its difference is only a bound",
    "no-opinion": "its runs do not tell how surely its difference is known",
}

SCREENING_WORDS: dict[str, str] = {
    "candidate": "Candidate: {name}.",
    "none": "No candidate: no variant stands out from luck.",
    "control-best": "No candidate: the control, {name}, stands out.",
    "counts-only": "Sealed until the last run.",
    "decides-nothing": "It decides nothing: among {count} one always looks best. ",
    "part": "Of what it shows, {parts} of every 100 parts can be expected next time; the rest is luck. ",
    "no-candidate": "The best of {count} always stands out a little; these runs do not show that anything is behind it. ",
    "all-luck": "Of what the best one shows, nothing can be expected next time. ",
    "order": "Luck alone lets one of {count} stand out as far in {luck} orders. ",
    "afresh": "None of these {runs} runs counts in the fresh test.",
    "counts": "{done} of {planned} runs are done. What they say stays covered until run {planned}.",
    "weaker": "Against {control}, all {count} at once. This is weaker than a fresh test of one variant, and it leans on normal "
    "scatter; it is no verdict.",
}

DOSE_WORDS: dict[str, str] = {
    "falls": "The more {plural}, the more it brakes.",
    "rises": "The more {plural}, the more it drives.",
    "lower": "The more {plural}, the lower the {name}.",
    "higher": "The more {plural}, the higher the {name}.",
    "none": "No trend found.",
    "not-fair": "Not a fair test yet.",
    "counts-only": "Sealed until the last run.",
    "costs": "Each {unit} costs {value}",
    "pays": "Each {unit} pays back {value} of the loss",
    "changes": "Each {unit} changes the {name} by {value}",
    "between": ", between {low} and {high}; this method is right {coverage} times in 100 ({runs} runs).",
    "open": " ({runs} runs); no span can be given.",
    "flat": "What each {unit} does lies between {low} and {high}, with no difference inside; this method is right {coverage} "
    "times in 100 ({runs} runs).",
    "flat-open": "Runs were still going at the limit, so no span can be given for what each {unit} does ({runs} runs).",
    "luck": " Luck alone gives so steep a trend in {luck} orders.",
    "how": " A trend says that the {plural} do it, not how.",
    "if-as-stated": "If the order was drawn as stated: ",
    "counts": "{done} of {planned} runs are done. What they say stays covered until run {planned}.",
    "stopped": "{first} {remedy} The figures below describe the runs; they decide nothing.",
}
