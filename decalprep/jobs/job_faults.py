"""Names in a job file that turn out wrong once its files are read, told with their line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from decalprep.errors import JobProblem, UsageProblem
from decalprep.jobs.jobfile import line_map
from decalprep.jobs.spec import Job


@contextmanager
def job_names(job: Job, table: str, index: int) -> Iterator[None]:
    """What the table names wrongly, such as a layer or a page, as a fault of the job file.

    Raises:
        JobProblem: in place of a UsageProblem.
    """
    try:
        yield
    except UsageProblem as problem:
        line = _line_of(job, table, index, problem.found)
        raise JobProblem([f"{job.source.name}:{line}: {problem}"]) from None


def _line_of(job: Job, table: str, index: int, found: str) -> int:
    """The line of the table that bears what is quoted first in ``found``; else the table's own."""
    start = line_map(job.text).get((table, str(index)), 1)
    quoted = re.search(r"'([^']+)'", found)
    lines = job.text.splitlines()
    for number in range(start, len(lines)):
        if lines[number].lstrip().startswith("[["):
            break
        if quoted and quoted[1] in lines[number]:
            return number + 1
    return start
