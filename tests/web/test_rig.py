"""The rig's page and the page of energy: units as people write them, and figures that can be worked out by hand.

By hand: 400 g falling 0.8 m give m g h = 0.4 x 9.8063 x 0.8 = 3.138 J. Over a window from w1 down to w2 a wheel gives
up I (w1^2 - w2^2) / 2, and the time that it takes makes that watts.
"""

from __future__ import annotations

import re

import httpx
import numpy as np
import pytest

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.workflow.bench import describe_rig, state_of
from truerun.workflow.deciding import decide
from truerun.workflow.rig import launch_of, rig_body

TYPED = {
    "weight": "400 g ± 1 g",
    "height": "80,0 cm",
    "drum": "30,0 ± 0,1",
    "fall_time": "6.61",
    "mass": "1,68",
    "diameter": "340",
    "bearing": "two ball bearings, dry",
}


def number_of(running: Running, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in running.notebook.tests() if row.id == test)


class TestTheRig:
    def test_it_may_wait(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "no rig yet")
        page = client.get(f"/t/{number_of(running, test)}/rig").text
        assert "Nothing yet." in page
        assert "may wait" in page
        assert "watts cannot be given" in client.get(f"/t/{number_of(running, test)}/energy").text

    def test_what_cannot_be_read_comes_back_with_a_link_to_its_field(
        self, running: Running, client: httpx.Client
    ) -> None:
        test = opened(running.notebook, "typed wrongly")
        place = f"/t/{number_of(running, test)}/rig"
        answer = client.post(place, data=TYPED | {"weight": "a lot", "height": "3 kg", "diameter": "0"})
        assert answer.status_code == 422
        assert set(re.findall(r'<li><a href="#(\w+)">', answer.text)) == {"weight", "height", "diameter"}
        assert 'value="a lot"' in answer.text
        assert 'value="two ball bearings, dry"' in answer.text
        assert state_of(running.notebook, test).rig is None

    def test_it_is_kept_as_typed_and_in_si(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "weighed")
        place = f"/t/{number_of(running, test)}/rig"
        assert client.post(place, data=TYPED).status_code == 303
        body = state_of(running.notebook, test).rig
        assert body is not None
        assert body["typed"]["height"] == "80,0 cm"
        assert body["values"]["height"]["value"] == 0.8
        assert body["values"]["drum"]["standard_uncertainty"] == pytest.approx(1e-4 / np.sqrt(3))  # limits: GUM 4.3.7
        page = client.get(place).text
        assert 'value="80,0 cm"' in page
        assert "3.138" in page
        assert "described" in page


class TestALaunch:
    def test_energy_by_hand_with_the_uncertainty_of_weight_height_and_gravity(self) -> None:
        found = launch_of(rig_body({"weight": "400 g ± 2 g", "height": "0.800 m ± 3 mm"}))
        assert found.energy is not None
        assert found.energy.nominal_value == pytest.approx(0.4 * 9.8063 * 0.8)
        shares = np.array([2 / 400, 3 / 800, 0.026 / 9.8063]) / np.sqrt(3)
        assert found.energy.std_dev == pytest.approx(0.4 * 9.8063 * 0.8 * np.sqrt((shares**2).sum()), rel=1e-6)
        assert (found.inertia, found.speed, found.shares) == (None, None, ())

    def test_everything_that_goes_in_is_accounted_for(self) -> None:
        found = launch_of(rig_body({key: text for key, text in TYPED.items() if key != "fall_time"}))
        assert found.inertia_from == "from sizes and masses"
        assert [name for name, _ in found.shares][-1] == "Left over"
        # nothing else was told where the energy could go, so nothing is left and nothing is doubtful
        assert found.shares[-1][1].nominal_value == pytest.approx(0, abs=1e-9)

    def test_a_wheel_whose_sizes_and_fall_disagree_is_said_to(self) -> None:
        found = launch_of(rig_body(TYPED | {"mass": "3,00"}))
        assert found.agree is False

    def test_a_fall_that_cannot_be_is_said_and_nothing_is_made_up(self) -> None:
        found = launch_of(rig_body(TYPED | {"fall_time": "0.1"}))
        assert found.by_fall is None
        assert "free fall" in found.troubles[0]


class TestWatts:
    def test_losses_are_energy_over_time(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "in watts")
        sealed(running.notebook, test, window=(12.6, 4.2))
        describe_rig(running.notebook, test, rig_body({"inertia": "0.02406 kg m² ± 0.00012"}))
        run(running.notebook, test, 16)
        number = number_of(running, test)
        covered = client.get(f"/t/{number}/energy").text
        assert "stays covered" in covered
        assert "mW" not in covered
        decide(running.notebook, test)
        page = client.get(f"/t/{number}/energy", timeout=60).text
        state = state_of(running.notebook, test)
        times = {
            name: float(np.mean([each.seconds or 0.0 for each in state.runs if state.order[each.slot - 1] == name]))
            for name in ("arc in", "arc out")
        }
        given_up = 0.02406 * (12.6**2 - 4.2**2) / 2
        shown = dict(re.findall(r"(arc in|arc out)</span>, 8 runs</dt><dd>([\d.]+)", page))
        for name, value in shown.items():
            assert float(value) == pytest.approx(1e3 * given_up / times[name], rel=2e-3)  # as many digits are shown
        net = re.search(r"The source adds</dt><dd>\N{MINUS SIGN}([\d.]+)", page)
        assert net is not None  # this source is a brake
        assert float(net[1]) == pytest.approx(1e3 * given_up * (1 / times["arc in"] - 1 / times["arc out"]), rel=0.05)
        assert "Times alone do not say." in page

    def test_a_fast_part_needs_a_guard(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "fast")
        typed = TYPED | {"fall_time": "1.2", "part_count": "12", "part_mass": "29", "part_circle": "300"}
        describe_rig(running.notebook, test, rig_body(typed))
        assert "A guard round the wheel is needed first" in client.get(f"/t/{number_of(running, test)}/rig").text
