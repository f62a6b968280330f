"""Three faults that would make every sheet wrong, put in on purpose: the tests must see each.

More of the kind, by machine: tests/mutants.
"""

import numpy as np
import pytest
import test_calibration_loop as loop_tests
import test_calibration_rule as rule_tests

from decalprep.calibration import estimate, loop
from decalprep.geometry import Affine
from decalprep.model import PrinterRecord


def test_a_transposed_skew_in_the_record_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    law = loop_tests.test_a_correction_and_a_print_with_that_error_give_back_every_point
    case = (0.004, -0.003, 0.002, 10.0, 280.0)
    law.hypothesis.inner_test(*case)
    wrong = property(lambda r: Affine(a=1 + r.scale_x, b=r.skew, d=1 + r.scale_y))
    monkeypatch.setattr(PrinterRecord, "printed_from_page", wrong)
    with pytest.raises(AssertionError):
        law.hypothesis.inner_test(*case)


def test_a_transposed_skew_in_the_estimator_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def transposed(vectors: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        dx, dy = vectors[:, 0], vectors[:, 1]
        px, py = dx * (1 + values[0]), dy * (1 + values[1]) + dx * values[2]
        length = np.hypot(px, py)
        return np.column_stack([px * dx, py * dy, py * dx]) / length[:, None], length

    rule_tests.test_exact_readings_give_the_exact_error()
    monkeypatch.setattr(estimate, "_linearised", transposed)
    with pytest.raises(AssertionError):
        rule_tests.test_exact_readings_give_the_exact_error()


def test_correction_and_measurement_swapped_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    law = loop_tests.test_the_printer_is_seen_through_any_correction
    case = (0.004, -0.003, 0.002, -0.006, 0.005, 0.004)
    law.hypothesis.inner_test(*case)
    right = loop.printer_seen

    def swapped(found: estimate.Estimate, correction: Affine) -> PrinterRecord:
        # C^-1 T in place of T C^-1.
        p = correction.inverse() @ found.printed_from_true
        return loop.replace(right(found, correction), scale_x=p.a - 1, scale_y=p.d - 1, skew=p.c)

    monkeypatch.setattr(loop_tests, "printer_seen", swapped)
    with pytest.raises(AssertionError):
        law.hypothesis.inner_test(*case)


def test_a_dropped_rule_term_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    rule_tests.test_the_rule_enters_as_a_common_scale_only()
    monkeypatch.setattr(estimate, "rule_uncertainty", lambda *_: 0.0)
    with pytest.raises(AssertionError):
        rule_tests.test_the_rule_enters_as_a_common_scale_only()
