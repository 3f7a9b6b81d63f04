"""Orders in rounds: every setting once a round, every order equally likely, made again from the seed alone."""

import hashlib

import numpy as np
import pytest

from truerun.stats.rounds import draw_rounds, every_order, orders_in_rounds, sample_rounds


class TestEveryRoundHoldsEverySettingOnce:
    @pytest.mark.parametrize(("settings", "rounds"), [(4, 1), (6, 3), (24, 2)])
    def test_drawn(self, settings: int, rounds: int) -> None:
        drawn = sample_rounds("any seed", settings, rounds, 20).reshape(20, rounds, settings)
        assert (np.sort(drawn, axis=2) == np.arange(settings)).all()

    def test_listed(self) -> None:
        listed = every_order(3, 3)
        assert listed is not None
        assert len({tuple(row) for row in listed.tolist()}) == len(listed) == orders_in_rounds(3, 3)
        assert (np.sort(listed.reshape(-1, 3, 3), axis=2) == np.arange(3)).all()


class TestTheDrawCanBeMadeAgain:
    def test_with_the_standard_library_alone(self) -> None:
        # Fisher-Yates from SHA-256(seed | counter), written anew as the documentation says it
        order: list[int] = []
        for number in (1, 2):
            row = list(range(5))
            for place in range(5, 1, -1):
                seed, counter, limit = f"my seed round {number} place {place}", 0, 2**64 - 2**64 % place
                while True:
                    word = int.from_bytes(hashlib.sha256(f"{seed}|{counter}".encode()).digest()[:8], "big")
                    counter += 1
                    if word < limit:
                        break
                row[word % place], row[place - 1] = row[place - 1], row[word % place]
            order += row
        assert draw_rounds("my seed", 5, 2).tolist() == order

    def test_every_order_is_equally_likely(self) -> None:
        # 3600 draws over 36 orders; chi-square with 35 degrees of freedom above 76 by luck once in 14 000 seeds
        drawn = sample_rounds("even", 3, 2, 3600)
        _, counts = np.unique(drawn, axis=0, return_counts=True)
        assert len(counts) == 36
        assert ((counts - 100) ** 2 / 100).sum() < 76
