"""Every sentence that a verdict can say, in one place; text in braces is filled in by ``trial.verdict``."""

from __future__ import annotations

__all__ = ["HEADLINES", "SENTENCES"]

HEADLINES: dict[str, str] = {
    "adds-energy": "{source} adds energy.",
    "adds-a-little": "{source} adds a little energy.",
    "takes-energy": "{source} takes energy.",
    "takes-a-little": "{source} takes a little energy.",
    "no-difference-found": "No difference found.",
    "no-difference-larger-than-margin": "No difference larger than {margin}.",
    "inconclusive": "Cannot tell yet: this test was too small.",
    "not-a-fair-test": "Not a fair test yet.",
    "counts-only": "Sealed until the last run.",
    "higher": "{source}: {name} is higher.",
    "lower": "{source}: {name} is lower.",
}

SENTENCES: dict[str, str] = {
    "if-as-stated": "If the order was drawn as stated: ",
    "loses-less": 'With "{source}" the wheel loses {value} less than with "{control}"',
    "loses-more": 'With "{source}" the wheel loses {value} more than with "{control}"',
    "higher": 'With "{source}" the {name} is higher by {value} than with "{control}"',
    "lower": 'With "{source}" the {name} is lower by {value} than with "{control}"',
    "between": ", between {low} and {high}; this method is right {coverage} times in 100 ({runs} runs).",
    "at-least": ", by at least {least}; this method is right {coverage} times in 100 ({runs} runs).",
    "no-span": " ({runs} runs); no span can be given.",
    "luck": " Luck alone does this in {luck} of {orders} orders.",
    "below-margin": " This is less than the {margin} that was called meaningful.",
    "claim-inside": " The {claimed} that is claimed lies in this span.",
    "claim-outside": " The {claimed} that is claimed does not lie in this span.",
    "as-it-should": " Same against same must show nothing, and so it does.",
    "not-by-itself": " It is not enough to run by itself.",
    "little-for-a-hand": " The span lies beside zero, but by less than the {allowance} that timing by hand could make: "
    "that counts as no difference.",
    "limits": 'If "{source}" adds anything, it is {adds}; if it takes anything, {takes}, '
    "each right {confidence} times in 100.",
    "limits-linear": 'If "{source}" raises the {name}, it is by {adds}; if it lowers it, by {takes}, '
    "each right {confidence} times in 100.",
    "limit": "less than {size}",
    "limit-of-losses": "less than {size} of the losses",
    "next-to-nothing": "next to nothing",
    "open-limit": "an amount that cannot be bounded",
    "planned": " The plan was made to find {found} in {power} tests of 100; the runs scattered "
    "{ratio} times as much as planned for.",
    "within-margin": 'Whatever "{source}" does is smaller than the {margin} that was agreed beforehand to matter: between '
    "{low} and {high}, right {coverage} times in 100.",
    "inconclusive": "The result includes no difference, and it also includes the {size} that {whose}: it lies between {low} "
    "and {high}, right {coverage} times in 100.",
    "inconclusive-by-hand": "The result lies between {low} and {high}, right {coverage} times in 100. A hand that knew which was "
    "which could have made as much as {allowance}, so neither no difference nor the {size} that {whose} is excluded.",
    "claimed": "is claimed",
    "margin": "was called meaningful",
    "more-runs": " A fresh test of about {each} + {each} runs would tell them apart.",
    "bet-decides": " The planned verdict is withdrawn; the running bet against no effect stands at {evidence} times the stake "
    "and excludes zero.",
    "bet-open": "The planned verdict is withdrawn, and the running bet against no effect, at {evidence} times the stake, does not "
    "decide.",
    "not-fair": "{count} stops the verdict: {first} {remedy} The figures below describe the runs; they decide nothing.",
    "one-check": "One check",
    "several-checks": "{count} checks stop the verdict; the first",
    "refuted": ' "Runs by itself" is refuted for this wheel, in this state, at these speeds: it slowed down through the window '
    'in all {runs} runs with "{source}".',
    "cause-isolated-drive": " The cause is isolated by these controls: {controls}. Of all that is known to do this, only a real "
    "drive is left.",
    "cause-isolated-brake": " The cause is isolated by these controls: {controls}. Of all that is known to do this, only a real "
    "force against the turning is left.",
    "cause-not-isolated": " The cause is not isolated: {suspects} would explain it too.",
    "counts-only": "{done} of {planned} runs are done. What they say stays covered until run {planned}.",
}
