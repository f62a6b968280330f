"""Readings and points to affine corrections with their uncertainty. Pure: no files, no clock.

Convention: mm, y up, errors in parts of one about the sheet's centre (a part: about the decal
frame's origin): what came out = what was meant + (scale_x x + skew y, scale_y y). Uncertainties are
standard uncertainties (JCGM 100) relative to the user's rule; the rule's own is a common scale,
kept apart. A slip is refused by name, never averaged in.
"""

from decalprep.calibration.affines import (
    ErrorOver,
    correction_for,
    expected_error,
    mean_scale_uncertainty,
)
from decalprep.calibration.ageing import check_record
from decalprep.calibration.estimate import (
    Estimate,
    Residual,
    ShapeFinding,
    estimate_printer,
    plain_rule_u,
    with_rules,
)
from decalprep.calibration.leastsquares import Fit, coverage_factor, weighted_fit
from decalprep.calibration.loop import (
    Gain,
    LoopSettings,
    Updated,
    earlier_states,
    gain_of,
    printer_seen,
    update_record,
    without_last,
)
from decalprep.calibration.part import (
    PartEstimate,
    PartReading,
    estimate_part,
    hole_pair,
    parse_part_readings,
    part_record,
)
from decalprep.calibration.photos import PhotoFit, PhotoPoints, shape_from_photos
from decalprep.calibration.readings import (
    PageReadings,
    Prompt,
    Reading,
    parse_readings,
    prompts_for,
)
from decalprep.calibration.rules import PLAIN, VERNIER, Hand, RuleClass, rule_uncertainty
from decalprep.calibration.scans import (
    CROSS_SINE,
    Scanner,
    ScanPoints,
    ShapeFit,
    bed_places,
    shape_from_one,
    shape_from_scans,
)
from decalprep.calibration.suspicion import is_printer_error, likely_causes

__all__ = [
    "CROSS_SINE",
    "PLAIN",
    "VERNIER",
    "ErrorOver",
    "Estimate",
    "Fit",
    "Gain",
    "Hand",
    "LoopSettings",
    "PageReadings",
    "PartEstimate",
    "PartReading",
    "PhotoFit",
    "PhotoPoints",
    "Prompt",
    "Reading",
    "Residual",
    "RuleClass",
    "ScanPoints",
    "Scanner",
    "ShapeFinding",
    "ShapeFit",
    "Updated",
    "bed_places",
    "check_record",
    "correction_for",
    "coverage_factor",
    "earlier_states",
    "estimate_part",
    "estimate_printer",
    "expected_error",
    "gain_of",
    "hole_pair",
    "is_printer_error",
    "likely_causes",
    "mean_scale_uncertainty",
    "parse_part_readings",
    "parse_readings",
    "part_record",
    "plain_rule_u",
    "printer_seen",
    "prompts_for",
    "rule_uncertainty",
    "shape_from_one",
    "shape_from_photos",
    "shape_from_scans",
    "update_record",
    "weighted_fit",
    "with_rules",
    "without_last",
]
