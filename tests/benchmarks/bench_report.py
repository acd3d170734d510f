"""Time of the page and the workbook: python -m tests.benchmarks.bench_report [laterals]."""

from __future__ import annotations

import io
import sys
import time
from dataclasses import replace

from reliability.indices.simulation import simulate
from reliability.pipeline import expect, simulation_input, with_alternatives
from reliability.report.content import content_of
from reliability.report.documents import report, sections
from reliability.report.page import page
from reliability.report.workbook import write_workbook
from tests.benchmarks.synthetic import PER_FEEDER, TAPS, synthetic_study


def main(laterals: int) -> None:
    """Print the time of each step."""
    results = expect(with_alternatives(synthetic_study(PER_FEEDER * -(-laterals // TAPS))))
    results = replace(results, simulated=simulate(simulation_input(results), seed=1, trials=2))
    begun = time.perf_counter()
    content = content_of(results)
    told = time.perf_counter()
    made = sections(content)
    composed = time.perf_counter()
    html, book = page(report(content, made)), io.BytesIO()
    drawn = time.perf_counter()
    write_workbook(content, book, made)
    done = time.perf_counter()
    print(f"{len(results.network.candidates)} laterals: content {told - begun:.2f} s, "
          f"sections {composed - told:.2f} s, page {drawn - composed:.2f} s ({len(html) / 1e6:.2f} MB), "
          f"workbook {done - drawn:.2f} s ({len(book.getbuffer()) / 1e6:.1f} MB), together {done - begun:.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
