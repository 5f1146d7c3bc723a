"""How often the tally's 95 % intervals hold the truth, on simulated listeners. Prints a table.

    python benchmarks/intervals.py                 1000 simulations a row, some minutes
    python benchmarks/intervals.py --simulations 50

Listeners rank by Luce's model, which has Bradley and Terry's probabilities for every pair.
"""

from __future__ import annotations

import argparse

import numpy as np

from seatwright.listening.resampling import resampled_strengths

LISTENERS = (5, 9, 15, 40)
TRUTHS = {
    "2, odds 2 to 1": (0.35, -0.35),
    "3, odds 3 to 1 from one to the next": (1.1, 0.0, -1.1),
    "4, all alike": (0.0, 0.0, 0.0, 0.0),
}
RESAMPLES = 400


def coverage(listeners: int, truth: tuple[float, ...], simulations: int) -> tuple[float, float]:
    """Share of intervals that hold a version's strength: mean and least over the versions."""
    rng = np.random.default_rng(listeners)
    wanted = np.array(truth) - np.mean(truth)
    held = []
    for _ in range(simulations):
        drawn = rng.gumbel(size=(listeners, len(truth))) + wanted
        wins = (drawn[:, :, None] > drawn[:, None, :]) * 1.0
        counts = np.ones(listeners, dtype=np.int64)
        found = resampled_strengths(wins, counts, rng, RESAMPLES)
        held.append((found.low <= wanted) & (wanted <= found.high))
    shares = np.mean(held, axis=0)
    return float(shares.mean()), float(shares.min())


def main() -> None:
    """Print the table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--simulations", type=int, default=1000, metavar="N")
    simulations = parser.parse_args().simulations
    print("| versions | listeners | mean | least |\n| --- | --- | --- | --- |")
    for name, truth in TRUTHS.items():
        for listeners in LISTENERS:
            mean, least = coverage(listeners, truth, simulations)
            print(
                f"| {name} | {listeners} | {100 * mean:.1f} % | {100 * least:.1f} % |", flush=True
            )


if __name__ == "__main__":
    main()
