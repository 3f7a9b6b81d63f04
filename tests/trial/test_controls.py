"""What each control settles: the table of the method, section 5, "What the cause may be"."""

from __future__ import annotations

import pytest

from truerun.trial.controls import CAUSES, NAMES, SETTLES, Settling, finds_it_again, left_standing, next_controls
from truerun.trial.plan import Role

TABLE = """
main          - - - - -
dummy         - partly - x -
reversal      flips x x partly maybe
polarity      maybe x flips x maybe
load-matched  - partly x - -
distance      law law law - -
bench-turned  x x x maybe maybe
mains-off     - - - - x
"""
"""Columns: static drive; eddy, iron; bearing load; air; mains field."""

MARKS = {
    "-": Settling.STAYS,
    "x": Settling.CANCELS,
    "partly": Settling.PARTLY,
    "flips": Settling.FLIPS,
    "law": Settling.SCALES,
    "maybe": Settling.VARIES,
}


@pytest.mark.parametrize("row", TABLE.strip().splitlines())
def test_row_of_the_table(row: str) -> None:
    role, *marks = row.split()
    assert SETTLES[Role(role)] == tuple(MARKS[mark] for mark in marks)


def test_the_table_is_whole() -> None:
    assert len(TABLE.strip().splitlines()) == len(SETTLES) == len(NAMES)
    assert [cause.name for cause in CAUSES] == ["static drive", "eddy, iron", "bearing load", "air", "mains field"]


class TestLeftStanding:
    def test_after_a_drive_a_brake_in_metal_is_no_suspect(self) -> None:
        assert [cause.name for cause in left_standing([], drive=True)] == ["bearing load", "air", "mains field"]

    def test_after_a_brake_it_is_and_a_drive_is_none(self) -> None:
        names = [cause.name for cause in left_standing([], drive=False)]
        assert names == ["eddy, iron", "bearing load", "air", "mains field"]

    @pytest.mark.parametrize(
        ("role", "gone"),
        [
            (Role.DUMMY, {"air"}),
            (Role.REVERSAL, {"bearing load"}),
            (Role.POLARITY, {"air"}),
            (Role.LOAD_MATCHED, {"bearing load"}),
            (Role.DISTANCE, set()),
            (Role.MAINS_OFF, {"mains field"}),
            (Role.BENCH_TURNED, set()),  # the source is there in both conditions
            (Role.SAME_AGAINST_SAME, set()),
            (Role.PLANTED, set()),
        ],
    )
    def test_one_control_takes_out_what_it_cancels(self, role: Role, gone: set[str]) -> None:
        every = {cause.name for cause in left_standing([], drive=True)}
        assert every - {cause.name for cause in left_standing([role], drive=True)} == gone

    @pytest.mark.parametrize("drive", [True, False])
    def test_reversal_dummy_and_mains_off_leave_nothing(self, *, drive: bool) -> None:
        assert left_standing([Role.REVERSAL, Role.DUMMY, Role.MAINS_OFF], drive=drive) == ()

    def test_more_controls_never_leave_more(self) -> None:
        done: list[Role] = []
        before = left_standing(done, drive=False)
        for role in SETTLES:
            done.append(role)
            after = left_standing(done, drive=False)
            assert set(after) <= set(before)
            before = after


class TestAControlMustFindTheDifferenceAgain:
    """What a control takes out is the same in both of its conditions: a difference that goes with it came from it."""

    @pytest.mark.parametrize("role", [Role.DUMMY, Role.LOAD_MATCHED, Role.MAINS_OFF])
    @pytest.mark.parametrize("drive", [True, False])
    def test_of_the_same_kind(self, role: Role, *, drive: bool) -> None:
        found = {adds: finds_it_again(role, drive=drive, adds=adds, one_way=True) for adds in (True, False, None)}
        assert found == {drive: True, not drive: False, None: False}

    @pytest.mark.parametrize("drive", [True, False])
    def test_turning_the_other_way_of_the_other_kind(self, *, drive: bool) -> None:
        assert finds_it_again(Role.REVERSAL, drive=drive, adds=not drive, one_way=True)
        assert not finds_it_again(Role.REVERSAL, drive=drive, adds=drive, one_way=True)
        # the part that changes sign between the two ways has it changed already
        assert finds_it_again(Role.REVERSAL, drive=drive, adds=drive, one_way=False)


class TestWhatComesNext:
    """Method, section 5: order of value after a drive; after a brake dummy, load-matched, distances first."""

    def test_after_a_drive(self) -> None:
        wanted = [Role.REVERSAL, Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE, Role.POLARITY, Role.MAINS_OFF]
        assert next_controls([], drive=True) == tuple(NAMES[role] for role in wanted)

    def test_after_a_brake(self) -> None:
        wanted = [Role.DUMMY, Role.LOAD_MATCHED, Role.DISTANCE]
        assert next_controls([], drive=False)[:3] == tuple(NAMES[role] for role in wanted)

    def test_what_was_made_is_not_named_again(self) -> None:
        assert NAMES[Role.REVERSAL] not in next_controls([Role.REVERSAL], drive=True)
