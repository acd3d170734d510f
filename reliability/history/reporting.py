"""The reporting year, and the year in which a programme begins."""

from __future__ import annotations

from reliability.history.outages import Records, records_of
from reliability.schema.problems import StudyError
from reliability.schema.values import Assumptions
from reliability.study.study import Study


def reporting_year(values: Assumptions, records: Records | None) -> int | None:
    """[report] reporting_year, else the last year that the records cover in full, else None."""
    stated = values["reporting_year"]
    if stated is not None or records is None:
        return stated
    full = full_years(records)
    return full[-1] if full else None


def first_year(values: Assumptions, records: Records | None) -> int | None:
    """[report] first_year, else the year after the reporting year, else None."""
    stated, reported = values["first_year"], reporting_year(values, records)
    return stated if stated is not None or reported is None else reported + 1


def first_year_of(study: Study) -> int | None:
    """The year in which a study's programme begins, by its own records where it states none; None where they have none
    or cannot be read."""
    try:
        stated = first_year(study.values, None)
        return first_year(study.values, records_of(study)) if stated is None else stated
    except StudyError:
        return None


def full_years(records: Records) -> list[int]:
    """Years that the records cover in full, ascending."""
    return [int(y) for y in records.years if int(y) not in records.partial]


def years_shown(values: Assumptions, records: Records, span: int) -> list[int]:
    """The `span` years up to the reporting year that the records cover in full, ascending.

    Of a reporting year beyond the records the last that they cover; of records without a full year all years.
    """
    reported = reporting_year(values, records)
    full = [y for y in full_years(records) if reported is None or y <= reported]
    full = full or full_years(records) or [int(y) for y in records.years]
    return [y for y in full if y > full[-1] - span]
