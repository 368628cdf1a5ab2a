"""How long the forecast of lakeside takes, and how much memory: `python -m tests.forecastspeed`."""

import resource
import time
from pathlib import Path

from tests.forecasts import Case, case

LAKESIDE = Path(__file__).resolve().parent.parent / "examples" / "lakeside"
DRAWS = 2000


def peak_mb() -> float:
    """Most memory that this process has had. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def measure(planned: Case, draws: int = DRAWS) -> tuple[float, float, float]:
    """Seconds by the clock and of one core, and megabytes beyond what was in use before."""
    before = peak_mb()
    began, worked = time.perf_counter(), time.process_time()
    planned.forecast(draws=draws)
    return time.perf_counter() - began, time.process_time() - worked, peak_mb() - before


if __name__ == "__main__":
    lakeside = case(LAKESIDE)
    seconds, core_s, extra_mb = measure(lakeside)
    print(
        f"{len(lakeside.lots)} batches, {DRAWS} draws: {seconds:.2f} s ({core_s:.2f} s of a core), "
        f"{extra_mb:.0f} MB more than before, {peak_mb():.0f} MB at most"
    )
