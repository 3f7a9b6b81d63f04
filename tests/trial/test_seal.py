"""The seal: canonical bytes of RFC 8785, the fingerprint over them, and the code that is read aloud."""

from __future__ import annotations

import hashlib
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from tests.trial.constructed import SEED, sealed
from truerun.errors import PlanBroken, RecordingUnreadable, ValueOutOfRange
from truerun.stats.orders import orders_for
from truerun.trial.seal import canonical_bytes, drawn_order, require_seal, seal_of, spoken, spoken_code
from truerun.workflow.plan_files import plan_file_text, read_plan

# RFC 8785, appendix B, "Number Serialization Samples": bits and text of a number (read in a public copy)
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


class TestCanonicalBytes:
    """RFC 8785 (2020)."""

    @pytest.mark.parametrize(("bits", "text"), NUMBERS)
    def test_numbers_of_appendix_b(self, bits: str, text: str) -> None:
        number = struct.unpack(">d", bytes.fromhex(bits))[0]
        assert canonical_bytes({"n": number}) == f'{{"n":{text}}}'.encode()

    @pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
    def test_what_is_not_a_number_is_refused(self, bits: str) -> None:
        with pytest.raises(rfc8785.FloatDomainError):
            canonical_bytes({"n": struct.unpack(">d", bytes.fromhex(bits))[0]})

    def test_sample_of_section_3_2_2(self) -> None:
        # read in a public copy of its author's test pairs, where the text is called "escaping"
        given_text = (
            '{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],'
            ' "escaping": "\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/", "literals": [null, true, false]}'
        )
        wanted = (
            '{"escaping":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/",'
            '"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27]}'
        )
        assert canonical_bytes(json.loads(given_text)) == wanted.encode()

    @given(
        st.dictionaries(
            st.text(st.characters(exclude_categories=["Cs"]), max_size=3),
            st.none()
            | st.integers(-(2**53) + 1, 2**53 - 1)
            | st.floats(allow_nan=False, allow_infinity=False)
            | st.text(st.characters(exclude_categories=["Cs"]), max_size=5)
            | st.lists(st.booleans(), max_size=2)
            | st.dictionaries(
                st.text(st.characters(exclude_categories=["Cs"]), max_size=2), st.floats(0, 1), max_size=2
            ),
            max_size=4,
        )
    )
    def test_are_those_of_the_library_rfc8785(self, document: dict[str, Any]) -> None:
        assert canonical_bytes(document) == rfc8785.dumps(document)

    def test_order_of_names_of_section_3_2_3(self) -> None:
        # from memory of the section: sorted by UTF-16 units, the emoji comes before the Hebrew letter
        names = {
            "\u20ac": "Euro Sign",
            "\r": "Carriage Return",
            "\ufb33": "Hebrew Letter Dalet With Dagesh",
            "1": "One",
            "\U0001f600": "Emoji: Grinning Face",
            "\u0080": "Control",
            "\u00f6": "Latin Small Letter O With Diaeresis",
        }
        wanted = [
            "Carriage Return",
            "One",
            "Control",
            "Latin Small Letter O With Diaeresis",
            "Euro Sign",
            "Emoji: Grinning Face",
            "Hebrew Letter Dalet With Dagesh",
        ]
        assert list(json.loads(canonical_bytes(names)).values()) == wanted

    def test_whole_numbers_beyond_what_others_can_read_are_refused(self) -> None:
        assert canonical_bytes({"n": 2**53 - 1}) == b'{"n":9007199254740991}'
        with pytest.raises(rfc8785.IntegerDomainError):
            canonical_bytes({"n": 2**53})


class TestTheFingerprint:
    def test_it_is_sha_256_of_the_canonical_bytes_without_the_seal(self) -> None:
        made = sealed()
        document: dict[str, Any] = json.loads(made.json())
        stored = document.pop("seal")
        digest = hashlib.sha256(rfc8785.dumps(document)).hexdigest()  # all that a stranger needs
        assert stored["sha256"] == digest == made.seal.sha256 == seal_of(made.plan).sha256

    def test_layout_of_the_file_does_not_matter(self) -> None:
        made = sealed()
        document = json.loads(made.json())
        turned = json.loads(json.dumps(dict(reversed(document.items()))))
        assert read_plan(turned).seal == made.seal

    @given(st.data())
    def test_any_changed_value_is_found(self, data: st.DataObject) -> None:
        document = json.loads(sealed().json())
        key = data.draw(
            st.sampled_from(["claim", "runs", "alpha", "margin", "seed", "order", "made", "note", "end", "id"])
        )
        changed: dict[str, Any] = {
            "claim": {"words": "It gains!", "against": None, "by": None},
            "runs": 16,
            "alpha": 0.0500001,
            "margin": 0.5,
            "seed": SEED + ".",
            "order": document["order"][::-1],
            "made": document["made"].replace("Z", "+00:00"),
            "note": "",
            "end": "turns",
            "id": "another",
        }
        if changed[key] == document[key]:
            return
        with pytest.raises((PlanBroken, RecordingUnreadable)):
            read_plan(document | {key: changed[key]})

    def test_any_changed_byte_of_the_file_is_found(self, tmp_path: Path) -> None:
        text = plan_file_text(sealed().plan)
        path = tmp_path / "plan.json"
        label = text.index('"code"')  # the name of the short code is not sealed; code and fingerprint are checked
        for place in [*range(2, label, 11), *range(label + 9, len(text) - 7)]:
            if not text[place].isspace():
                path.write_text(text[:place] + ("Z" if text[place] != "Z" else "Y") + text[place + 1 :], "utf-8")
                with pytest.raises((PlanBroken, RecordingUnreadable)):
                    read_plan(path)

    def test_no_seal(self) -> None:
        document = json.loads(sealed().json())
        del document["seal"]
        with pytest.raises(PlanBroken, match="the plan must hold a sealed plan; it has no seal"):
            read_plan(document)

    def test_an_order_that_the_seed_does_not_draw_is_refused_even_with_a_good_seal(self) -> None:
        made = sealed()
        turned = tuple(reversed(made.plan.order))
        assert turned != made.plan.order
        chosen = made.plan.model_copy(update={"order": turned})
        with pytest.raises(PlanBroken, match="must be the one that its seed draws"):
            read_plan(json.loads(plan_file_text(chosen)))


class TestTheSpokenCode:
    def test_alphabet(self) -> None:
        # no 0 O, 1 I L, U: misread or misheard
        letters = set()
        for number in range(400):
            code = spoken_code(hashlib.sha256(str(number).encode()).hexdigest())
            assert [len(group) for group in code.split(" ")] == [4, 4, 4, 4]
            letters |= set(code) - {" "}
        assert letters == set("23456789ABCDEFGHJKMNPQRSTVWXYZ")

    def test_it_counts_in_thirties(self) -> None:
        # second route: the last sixteen places of the fingerprint as a number to the base thirty
        digest = hashlib.sha256(b"truerun").hexdigest()
        alphabet = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
        number, text = int(digest, 16), ""
        while len(text) < 16:
            text = alphabet[number % 30] + text
            number //= 30
        assert spoken_code(digest).replace(" ", "") == text

    def test_every_letter_has_its_word(self) -> None:
        words = spoken("23456789ABCDEFGHJKMNPQRSTVWXYZ").split(" ")
        assert len(set(words)) == 30
        assert [word[0].upper() for word in words[8:]] == list("ABCDEFGHJKMNPQRSTVWXYZ")

    def test_a_code_may_be_typed_in_small_letters_without_blanks(self) -> None:
        made = sealed()
        for code in (made.seal.code, made.seal.code.lower().replace(" ", ""), made.seal.code.replace(" ", "-")):
            assert require_seal(made.plan, made.seal.document(), "plan.json", code) == made.seal

    def test_another_code_is_refused(self) -> None:
        made = sealed()
        with pytest.raises(PlanBroken, match="is not the plan of this code"):
            require_seal(made.plan, made.seal.document(), "plan.json", "2222 2222 2222 2222")


class TestTheDraw:
    @given(st.text(min_size=1, max_size=30), st.sampled_from(["blocks-of-four", "complete", "restricted", "pairs"]))
    def test_anybody_can_draw_the_order_again(self, seed: str, name: str) -> None:
        chosen = orders_for(name, 12)
        word, counter = 2**64, 0
        while word >= 2**64 // chosen.count * chosen.count:
            word = int.from_bytes(hashlib.sha256(f"{seed}|{counter}".encode()).digest()[:8], "big")
            counter += 1
        assert np.array_equal(drawn_order(chosen, seed), chosen.all()[word % chosen.count])

    def test_blanks_round_a_seed_do_not_part_plan_and_draw(self) -> None:
        # a record drops blanks round its texts, so the draw must be made from what is stored
        assert read_plan(json.loads(sealed(seed=f"  {SEED} ").json())).plan.order == sealed().plan.order


@pytest.mark.parametrize("number", [2**53, float("nan")])
def test_a_plan_with_a_number_that_cannot_be_written_is_refused_in_a_sentence(number: float) -> None:
    class Odd:
        def document(self) -> dict[str, Any]:
            return {"runs": number}

    with pytest.raises(ValueOutOfRange, match="too large to be sealed"):
        seal_of(Odd())
