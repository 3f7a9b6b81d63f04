"""What was measured beside a sitting and a run is kept, shown, and handed to the checks; it is never needed."""

from __future__ import annotations

import httpx

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.workflow.bench import state_of
from truerun.workflow.deciding import decide, table_of


def number_of(running: Running, test: str) -> int:
    """Give the number of a test."""
    return next(row.number for row in running.notebook.tests() if row.id == test)


class TestMeasured:
    def test_a_temperature_of_a_sitting_is_kept_and_shown(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "a warm evening")
        sealed(running.notebook, test)
        place = f"/t/{number_of(running, test)}"
        assert client.post(f"{place}/session", data={"temperature": "warm"}).status_code == 422
        assert client.post(f"{place}/session", data={"temperature": "19,5 °C", "note": "no draught"}).status_code == 303
        assert running.notebook.entries(test, last=1)[0].body["temperature"] == 19.5
        assert "no draught; 19.5\N{NO-BREAK SPACE}°C" in client.get(f"{place}/runs").text

    def test_beside_a_run_it_reaches_the_table_that_is_compared(self, running: Running, client: httpx.Client) -> None:
        test = opened(running.notebook, "measured")
        sealed(running.notebook, test)
        run(running.notebook, test, 16)
        place = f"/t/{number_of(running, test)}/runs"
        assert client.post(f"{place}/1/measured", data={"name": "", "value": "x"}).status_code == 422
        assert client.get(f"{place}/17/measured").status_code == 422
        for slot in range(1, 17):
            said = {"name": "temperature", "value": f"{20 + slot / 10:.1f}".replace(".", ",")}
            assert client.post(f"{place}/{slot}/measured", data=said).status_code == 303
        table = table_of(state_of(running.notebook, test))
        assert [each.extra["temperature"] for each in table.runs] == [20 + slot / 10 for slot in range(1, 17)]
        assert "<dt>temperature</dt><dd>20.1</dd>" in client.get(f"{place}/1").text
        result = decide(running.notebook, test)
        assert result.verdict is not None
        assert client.post(f"{place}/1/measured", data=said).status_code == 409
