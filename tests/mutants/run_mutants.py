"""Small faults put into the estimator, the checker and the stroke rules: which do tests not see?

    python tests/mutants/run_mutants.py [--minutes 10] [--only checker] [--every 1]

A mutant differs from the module in one place: a comparison turned or its edge moved, plus for
minus, times for divided by, a term of a sum or a condition left out, a number changed by one. Its
fast tests are run in a process of their own; a mutant that they pass is a survivor. What survives
is listed in DEVELOPERS.md with a word each.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.machinery
import importlib.util
import os
import random
import resource
import signal
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
CAP_S = 60


@dataclass(frozen=True)
class Target:
    """A module and the tests that should see its faults."""

    name: str
    module: str
    tests: tuple[str, ...]


TARGETS = (
    Target(
        "estimator",
        "decalprep.calibration.estimate",
        (
            "tests/test_estimator_edges.py",
            "tests/test_estimator_properties.py",
            "tests/test_calibration_loop.py",
            "tests/test_calibration_rule.py",
        ),
    ),
    Target(
        "least squares",
        "decalprep.calibration.leastsquares",
        (
            "tests/test_estimator_edges.py",
            "tests/test_estimator_properties.py",
            "tests/test_geometry_refusals.py",
            "tests/outside/test_gum_h3.py",
        ),
    ),
    Target(
        "checker",
        "decalprep.nesting.checker",
        (
            "tests/test_checker.py",
            "tests/test_checker_edges.py",
            "tests/test_estimator_properties.py",
        ),
    ),
    Target(
        "stroke rules",
        "decalprep.cleaning.strokes",
        (
            "tests/test_stroke_rules.py",
            "tests/test_hairline_notices.py",
            "tests/test_hairlines_table.py",
        ),
    ),
    Target(
        "hairlines",
        "decalprep.cleaning.hairlines",
        (
            "tests/test_hairline_notices.py",
            "tests/test_hairlines_table.py",
            "tests/test_hairlines_bytes.py",
        ),
    ),
)

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}


def changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """(what is changed, the node in its place) for one node of a tree."""
    if isinstance(node, ast.Compare):
        for k, operator in enumerate(node.ops):
            for other in COMPARISONS.get(type(operator), ()):
                changed = copy.deepcopy(node)
                changed.ops[k] = other()
                yield f"{type(operator).__name__} to {other.__name__}", changed
    elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        changed = copy.deepcopy(node)
        changed.op = OPERATORS[type(node.op)]()
        yield f"{type(node.op).__name__} to {type(changed.op).__name__}", changed
        if isinstance(node.op, ast.Add | ast.Sub):
            yield "right term left out", node.left
    elif isinstance(node, ast.BoolOp):
        changed = copy.deepcopy(node)
        changed.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield "and/or exchanged", changed
        for k in range(len(node.values)):
            less = copy.deepcopy(node)
            del less.values[k]
            yield f"condition {k + 1} left out", less if len(less.values) > 1 else less.values[0]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield "not or minus left out", node.operand
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        yield f"{node.value} to {node.value + 1}", ast.Constant(node.value + 1)
    elif isinstance(node, ast.IfExp):
        yield "branches exchanged", ast.IfExp(node.test, node.orelse, node.body)


class _Place(ast.NodeTransformer):
    """Puts a node in the place of the one at a number in the order of walking."""

    def __init__(self, target: ast.AST, new: ast.AST) -> None:
        self.target, self.new = target, new

    def visit(self, node: ast.AST) -> ast.AST:
        if node is self.target:
            return ast.copy_location(self.new, node)
        return self.generic_visit(node)


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """(line, what is changed, the changed source) of a module; docstrings and types stay."""
    tree = ast.parse(source)
    skipped: set[int] = set()
    for node in ast.walk(tree):
        for part in (getattr(node, "annotation", None), getattr(node, "returns", None)):
            if part is not None:
                skipped |= {id(n) for n in ast.walk(part)}
        if isinstance(node, ast.JoinedStr):
            skipped |= {id(n) for n in ast.walk(node)}
    for node in list(ast.walk(tree)):
        if id(node) in skipped:
            continue
        for what, new in changes(node):
            number = node.lineno  # type: ignore[attr-defined]
            fresh = ast.parse(source)
            twin = next(
                b for a, b in zip(ast.walk(tree), ast.walk(fresh), strict=True) if a is node
            )
            changed = ast.fix_missing_locations(_Place(twin, copy.deepcopy(new)).visit(fresh))
            yield number, what, ast.unparse(changed)


class Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module from changed source, all others as they are."""

    def __init__(self, name: str, path: Path, source: str) -> None:
        self.name, self.path, self.source = name, path, source

    def find_spec(self, fullname, path=None, target=None):  # type: ignore[no-untyped-def]
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def create_module(self, spec):  # type: ignore[no-untyped-def]
        return None

    def exec_module(self, module) -> None:  # type: ignore[no-untyped-def]
        exec(compile(self.source, str(self.path), "exec"), module.__dict__)


def passes(target: Target, path: Path, source: str) -> bool:
    """Whether the tests pass with this source; a process that dies or runs on does not."""
    child = os.fork()
    if child:
        return os.waitpid(child, 0)[1] == 0
    code = 1
    try:
        quiet = os.open(os.environ.get("MUTANTS_LOG", os.devnull), os.O_WRONLY | os.O_CREAT)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        resource.setrlimit(resource.RLIMIT_CPU, (CAP_S, CAP_S))
        signal.alarm(3 * CAP_S)
        sys.meta_path.insert(0, Changed(target.module, path, source))
        import pytest

        options = ["-x", "-q", "-n0", "-p", "no:randomly", "-p", "no:cacheprovider", "-W", "ignore"]
        code = int(pytest.main([*options, *target.tests]))
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def warm() -> None:
    """Load the libraries once; the project itself is loaded by each child."""
    import cv2  # noqa: F401
    import numpy  # noqa: F401
    import pikepdf  # noqa: F401
    import pypdfium2  # noqa: F401
    import pytest  # noqa: F401
    import scipy.optimize
    import scipy.stats  # noqa: F401
    import shapely  # noqa: F401


def main() -> None:
    """Run and print the survivors."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--minutes", type=float, default=10.0)
    asked.add_argument("--only", default="")
    asked.add_argument("--every", type=int, default=1, help="Take one of so many mutants.")
    options = asked.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    warm()
    chosen = [t for t in TARGETS if options.only in t.name]
    end = time.monotonic() + 60 * options.minutes
    for number, target in enumerate(chosen):
        path = ROOT / (target.module.replace(".", "/") + ".py")
        source = path.read_text(encoding="utf-8")
        if not passes(target, path, source):
            raise SystemExit(f"{target.name}: its tests fail without any change")
        found = list(mutants(source))[:: options.every]
        random.Random(1).shuffle(found)
        until = time.monotonic() + (end - time.monotonic()) / (len(chosen) - number)
        tried, survivors = 0, []
        for line, what, changed in found:
            if time.monotonic() > until:
                break
            tried += 1
            if passes(target, path, changed):
                survivors.append((line, what))
        share = 100 * (1 - len(survivors) / max(tried, 1))
        print(
            f"{target.name}: {tried} of {len(found)} mutants tried, {share:.0f} % seen", flush=True
        )
        for line, what in sorted(survivors):
            print(f"  line {line}: {what}: {source.splitlines()[line - 1].strip()}", flush=True)


if __name__ == "__main__":
    main()
