"""The arithmetic of the ratio table against the same in pandas: share, ratio, stops and uncertainty from the key.

Goals: at least 100 x faster at 30 lights, 25 x at 1,000.
"""

from __future__ import annotations

import random

from benchmarks.side_by_side import Goal, print_goals, ratios

MORE = 40
"""Ours is called so many times more in a round, so that both take milliseconds."""


def inputs(lights: int) -> tuple[list[float], list[float], list[float]]:
    """Return light, uncertainty in stops and camera factor of so many lights, from a fixed seed."""
    chance = random.Random(lights)
    values = [200.0 * 2.0 ** chance.uniform(-4, 0) for _ in range(lights)]
    return values, [chance.uniform(0.02, 0.1) for _ in values], [chance.uniform(0.3, 1.0) for _ in values]


def with_pandas(values: list[float], u: list[float], camera: list[float]) -> object:
    """The same table as a data frame."""
    import numpy as np
    import pandas as pd

    frame = pd.DataFrame({"value": values, "u": u, "camera": camera})
    key = frame.iloc[0]
    frame["over"] = frame["value"] / key["value"]
    frame["stops"] = np.log2(frame["over"])
    frame["u_stops"] = np.hypot(frame["u"], key["u"])
    frame.loc[0, "u_stops"] = 0.0
    seen = frame["value"] * frame["camera"]
    frame["share"] = seen / seen.sum()
    return frame


def main(rounds: int = 21) -> None:
    """Print the ratios."""
    import numpy as np

    from meterlink.tables.ratio_figures import figures, figures_arrays

    def goal(lights: int, least: float) -> Goal:
        values, u, camera = inputs(lights)
        arrays = tuple(np.array(x) for x in (values, u, camera))
        times = 20 if lights == 30 else 5

        def ours() -> None:
            for _ in range(times * MORE):
                figures(values, u, camera, 0) if lights < 100 else figures_arrays(*arrays, 0)

        def pandas() -> None:
            for _ in range(times):
                with_pandas(values, u, camera)

        measured = ratios({"ours": ours, "pandas": pandas}, rounds)
        return Goal(f"pandas / ours, {lights} lights", measured["pandas"] * MORE, ">=", least)

    goals = [goal(30, 100.0), goal(1000, 25.0)]
    print_goals("ratio table", goals)


if __name__ == "__main__":
    main()
