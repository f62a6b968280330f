"""All panels of a job made ready for nesting, shared out over the processor's cores."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from importlib import import_module
from pathlib import PurePath

from decalprep.jobs.crew import Say, all_done
from decalprep.jobs.finish import Finish, finish_panel
from decalprep.jobs.prepare import Prepared, prepare_panel
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.model import PartRecord

NEEDED = (
    "decalprep.cleaning.legibility",
    "decalprep.outline.bleed",
    "pypdfium2.raw",
)
"""What every panel needs sooner or later: loaded once, before the process is forked."""
LATER = (
    "decalprep.proof.proving",
    "decalprep.nesting",
    "decalprep.export.pdf",
    "fontTools.ttLib.tables._g_l_y_f",
    "decalprep.jobs.carry",
    "decalprep.jobs.report",
    "decalprep.jobs.tell",
)
"""What is needed after the panels: loaded while other processes prepare the first of them."""
READERS = {".svg": "decalprep.intake.svg", ".pdf": "decalprep.intake.pdf"}
"""What artworks of a kind need, loaded before the process is forked as well."""


def panels_of(
    job: Job, parts: Sequence[PartRecord | None], say: Say
) -> tuple[tuple[Prepared, ...], tuple[Finish, ...]]:
    """Every panel of the job, and what follows its decal.

    Raises:
        DecalprepError: a panel cannot be used; of several, the first in the job's order.
    """

    def ready(panel: PanelSpec, part: PartRecord | None, tell: Say) -> tuple[Prepared, Finish]:
        prepared = prepare_panel(panel, job, part, tell)
        return prepared, finish_panel(panel, prepared, job)

    kinds = {PurePath(panel["artwork"]).suffix.lower() for panel in job.panels}
    if len(job.panels) > 1:
        if ".svg" in kinds:
            from decalprep.intake.svg_process import converters

            converters()  # they start by themselves in the meantime
        for name in (*NEEDED, *(READERS[kind] for kind in sorted(kinds) if kind in READERS)):
            import_module(name)
    tasks = [partial(ready, panel, part) for panel, part in zip(job.panels, parts, strict=True)]
    found = all_done(tasks, say, meanwhile=_load_later)
    return tuple(one for one, _ in found), tuple(finish for _, finish in found)


def _load_later() -> None:
    """Load what is needed later on."""
    for name in LATER:
        import_module(name)
