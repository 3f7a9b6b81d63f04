"""Files of a run: recordings stay byte for byte, photos are made anew, and nothing sealed shows.

JPEG and EXIF are read by Pillow; digests by hashlib (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
import io
import re
import socket

import httpx
import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, expect

from tests.web.conftest import Running
from tests.web.made_tests import opened, run, sealed
from truerun.errors import PlanBroken
from truerun.notebook.files import read_file
from truerun.web.gate import BODY_LIMIT, FILE_LIMIT
from truerun.workflow.bench import begin_run, break_seal, state_of, stop_clock
from truerun.workflow.deciding import decide


def passes_file(seed: int = 1) -> bytes:
    """Write passes of four marks of a wheel with constant drag, in closed form, with 20 us of jitter."""
    angle = np.arange(480) * np.pi / 2
    times = (14.0 - np.sqrt(14.0**2 - 2 * 0.12 * angle)) / 0.12
    noisy = times + 2e-5 * np.random.default_rng(seed).standard_normal(times.size)
    return ("time [s]\n" + "".join(f"{each + 1:.6f}\n" for each in noisy)).encode()


def photo_file(*, turned: bool = False) -> bytes:
    """Make a photo with a place and a camera written into it."""
    image = Image.new("RGB", (300, 200), (200, 30, 30))
    exif = Image.Exif()
    exif[0x010F] = "a camera"
    exif[0x0112] = 6 if turned else 1
    written = io.BytesIO()
    image.save(written, "JPEG", exif=exif)
    return written.getvalue()


@pytest.fixture(scope="module")
def test_id(running: Running) -> str:
    """Give a test with one run done."""
    found = opened(running.notebook, "files")
    sealed(running.notebook, found)
    run(running.notebook, found, 1)
    return found


def sent(client: httpx.Client, slot: int, name: str, data: bytes, **form: str) -> httpx.Response:
    """Send a file of a run."""
    return client.post(f"/t/1/runs/{slot}/files", files={"file": (name, data)}, data=form)


@pytest.mark.usefixtures("test_id")
class TestRecordings:
    def test_the_bytes_stay_as_they_are(self, running: Running, test_id: str, client: httpx.Client) -> None:
        data = passes_file()
        assert sent(client, 1, "C:\\logs\\run 1.csv", data, marks="4").status_code == 303
        kept = state_of(running.notebook, test_id).runs[0].recordings[-1]
        assert (kept.name, kept.marks, kept.digest) == ("run 1.csv", 4, hashlib.sha256(data).hexdigest())
        assert b"".join(read_file(running.notebook, kept.digest)) == data

    def test_one_for_the_next_run_begins_it(self, running: Running, test_id: str, client: httpx.Client) -> None:
        assert sent(client, 2, "second.csv", passes_file(2)).status_code == 303  # marks as before
        state = state_of(running.notebook, test_id)
        assert (state.runs[1].slot, state.runs[1].ended, state.next_slot) == (2, True, 3)

    @pytest.mark.parametrize(
        ("name", "data"),
        [("empty.csv", b""), ("words.csv", b"this is\nno recording\n"), ("still.csv", b"time [s]\n1\n2\n3\n")],
    )
    def test_what_is_no_recording_is_refused_in_a_sentence(
        self, running: Running, test_id: str, client: httpx.Client, name: str, data: bytes
    ) -> None:
        before = state_of(running.notebook, test_id).head
        answer = sent(client, 3, name, data, marks="4")
        assert answer.status_code == 422
        assert 'href="#file"' in answer.text
        assert "Nothing was attached" in answer.text
        assert state_of(running.notebook, test_id).head == before

    def test_a_later_run_cannot_be_begun_by_a_file(self, client: httpx.Client) -> None:
        assert sent(client, 9, "early.csv", passes_file(3), marks="4").status_code == 409

    def test_nothing_of_it_shows_while_the_result_is_sealed(
        self, running: Running, test_id: str, client: httpx.Client
    ) -> None:
        page = client.get("/t/1/runs/1").text
        assert "stays covered until the seal is opened" in page
        assert "<svg xmlns" not in page
        digest = state_of(running.notebook, test_id).runs[0].recordings[0].digest
        assert client.get(f"/t/1/recordings/{digest}").status_code == 409


@pytest.mark.usefixtures("test_id")
class TestPhotos:
    def test_it_is_made_anew_upright_and_without_what_the_camera_wrote(
        self, running: Running, test_id: str, client: httpx.Client
    ) -> None:
        data = photo_file(turned=True)
        assert sent(client, 1, "wheel.jpg", data).status_code == 303
        kept = state_of(running.notebook, test_id).photos[-1]
        answer = client.get(f"/t/1/photos/{kept.digest}")
        assert answer.headers["content-type"] == "image/jpeg"
        assert answer.headers["content-security-policy"] == "default-src 'none'; sandbox"
        assert b"a camera" not in answer.content
        image = Image.open(io.BytesIO(answer.content))
        assert image.size == (200, 300)
        assert not image.getexif()

    @pytest.mark.parametrize("data", [b"<svg onload=alert(1)>", b"\xff\xd8\xff\xe0 cut", b""])
    def test_what_is_no_picture_is_refused(self, client: httpx.Client, data: bytes) -> None:
        assert sent(client, 1, "photo.jpg", data).status_code == 422

    def test_a_small_file_that_unfolds_to_a_huge_picture_is_refused(self, client: httpx.Client) -> None:
        written = io.BytesIO()
        Image.new("1", (30_000, 30_000)).save(written, "PNG")
        assert written.tell() < 1 << 20
        assert sent(client, 1, "huge.png", written.getvalue()).status_code == 422

    @pytest.mark.parametrize("digest", ["0" * 64, "..%2f..%2fetc", "x"])
    def test_only_what_was_attached_is_given(self, client: httpx.Client, digest: str) -> None:
        assert client.get(f"/t/1/photos/{digest}").status_code in (404, 422)


@pytest.mark.usefixtures("test_id")
class TestTheSizeOfABody:
    def test_files_may_be_larger_than_forms_up_to_their_own_limit(self, running: Running) -> None:
        own = f"Host: 127.0.0.1:{running.door.port}\r\nCookie: {running.door.cookie}={running.door.session}\r\n"
        kind = "Sec-Fetch-Site: same-origin\r\nContent-Type: multipart/form-data; boundary=x\r\n"
        for path, limit in (("/t/1/runs/1/files", FILE_LIMIT), ("/t/1/notes", BODY_LIMIT)):
            with socket.create_connection(("127.0.0.1", running.door.port)) as line:
                length = f"Content-Length: {limit + 1}\r\n\r\n"
                line.sendall(f"POST {path} HTTP/1.1\r\n{own}{kind}{length}".encode())
                assert line.recv(4096).startswith(b"HTTP/1.1 413 ")

    def test_a_run_with_a_recording_and_one_with_a_watch_are_not_mixed(self, running: Running) -> None:
        test = opened(running.notebook, "mixed")
        sealed(running.notebook, test)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        with running.client() as client:
            sent_to = f"/t/{number}/runs/1/files"
            client.post(sent_to, files={"file": ("1.csv", passes_file(1))}, data={"marks": "4"})
        stop_clock(running.notebook, test, begin_run(running.notebook, test).id, 80.0)
        break_seal(running.notebook, test, why="to look", head=running.notebook.head(test).digest)
        with pytest.raises(PlanBroken, match="run 1 has only a recording and run 2 only a time"):
            decide(running.notebook, test)


class TestOnceItIsOpen:
    def test_the_drawings_of_a_recording_can_be_looked_at_closely(self, running: Running, browser: Browser) -> None:
        test = opened(running.notebook, "open")
        sealed(running.notebook, test)
        number = next(row.number for row in running.notebook.tests() if row.id == test)
        with running.client() as client:
            for slot in (1, 2, 3, 4):
                client.post(
                    f"/t/{number}/runs/{slot}/files",
                    files={"file": (f"{slot}.csv", passes_file(slot))},
                    data={"marks": "4"},
                )
        break_seal(running.notebook, test, why="to look", head=running.notebook.head(test).digest)
        decide(running.notebook, test)
        page = running.context(browser).new_page()
        page.goto(f"{running.address}/t/{number}/runs/1")
        drawing = page.locator("figure.slowing .wide svg")
        expect(drawing).to_be_visible()
        whole = drawing.get_attribute("viewBox")
        page.get_by_role("button", name="Larger").first.press("Enter")
        assert drawing.get_attribute("viewBox") != whole
        page.get_by_role("button", name="Smaller").first.press("Enter")
        drawing.hover(position={"x": 200, "y": 120})
        said = page.locator("figure.slowing output").text_content() or ""
        assert re.fullmatch(r"across [\d.\u2212]+, up [\d.\u2212]+", said)
        page.context.close()
