"""The house is tested: which room owns which heavy package, purity of the lower floors, light door.

The order of floors itself is held by import-linter (pyproject.toml), which CI runs.
"""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import decalprep

ROOT = Path(decalprep.__file__).parent
OWNERS = {
    "click": {"cli"},
    "typst": {"intake"},
    "svglib": {"intake"},
    "resvg_py": {"intake"},
    "ezdxf": {"intake"},
    "trimesh": {"intake"},
    "lxml": {"intake"},
    "fontTools": {"intake", "export", "proof"},
    "pikepdf": {"pdfstream", "cleaning", "outline", "intake", "export"},
    "reportlab": {"export", "intake"},
    "cv2": {"pdfstream", "scan", "proof", "nesting", "outline", "cleaning", "intake"},
    "pypdf": {"proof"},
    "pypdfium2": {"pdfstream", "proof", "intake", "export", "outline", "cleaning", "scan"},
    "spyrrow": {"nesting"},
    "platformdirs": {"records"},
}
PURE = {
    "units",
    "errors",
    "geometry",
    "pdfstream",
    "model",
    "cleaning",
    "outline",
    "marks",
    "calibration",
    "compose",
    "nesting",
}
IMPURE_MODULES = {
    "os",
    "pathlib",
    "time",
    "datetime",
    "logging",
    "subprocess",
    "shutil",
    "tempfile",
    "socket",
    "sys",
}
ALLOWED_IMPURE = {
    # the strip packer cannot be cancelled, so it runs in a child process that can be killed
    "nesting/strip.py",
    "nesting/strip_child.py",
}


def modules() -> list[Path]:
    return sorted(p for p in ROOT.rglob("*.py") if "data" not in p.relative_to(ROOT).parts)


def imports(path: Path) -> set[str]:
    """Top-level names of everything a module imports, in functions too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module.split(".")[0])
        elif isinstance(node, ast.Call) and "import_module" in ast.unparse(node.func):
            given = node.args[0]
            found |= {given.value.split(".")[0]} if isinstance(given, ast.Constant) else set()
    return found


def room(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_heavy_packages_have_owners(path: Path) -> None:
    for package in imports(path) & OWNERS.keys():
        assert room(path) in OWNERS[package], f"{package} is not for the room {room(path)}"


@pytest.mark.parametrize(
    "path", [p for p in modules() if room(p) in PURE], ids=lambda p: str(p.relative_to(ROOT))
)
def test_lower_floors_are_pure(path: Path) -> None:
    if path.relative_to(ROOT).as_posix() in ALLOWED_IMPURE:
        return
    assert not imports(path) & IMPURE_MODULES
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"open", "print", "input"}, node.lineno
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            # chance only from a generator made with a seed
            assert node.value.id != "random" or node.attr == "Random", node.lineno


def test_no_room_hands_on_a_name_that_one_of_its_modules_has() -> None:
    """The name would be the module or what it holds, by the order in which things are imported."""
    for package in sorted({path.parent for path in modules()}):
        own = {p.stem for p in package.glob("*.py")} | {p.name for p in package.iterdir()}
        tree = ast.parse((package / "__init__.py").read_text(encoding="utf-8"))
        names = {
            alias.asname or alias.name
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        assert not names & own, f"{package.name}: {names & own}"


def test_only_the_command_line_prints() -> None:
    for path in modules():
        if room(path) == "cli":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id != "print", f"{path}:{node.lineno}"


def test_help_loads_click_and_nothing_heavy() -> None:
    code = (
        "import sys\nfrom decalprep.cli import run\nrun(['--help'])\n"
        "print([m for m in sys.modules if m.split('.')[0] in "
        f"{sorted((OWNERS.keys() - {'click'}) | {'numpy', 'shapely', 'PIL'})!r}], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"
    assert "Commands" in done.stdout


def test_sheets_are_made_without_loading_scipy() -> None:
    """It takes as long to load as five panels to prepare, and plain drawings need nothing of it."""
    code = "import sys, decalprep.jobs.make, decalprep.scan\nprint('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_every_command_is_there_and_has_an_example() -> None:
    import click

    from decalprep.cli import COMMANDS, group

    context = click.Context(group)
    for name, (_, line) in COMMANDS.items():
        command = group.get_command(context, name)
        assert command is not None
        assert "Example" in (command.help or ""), f"{name} shows no example"
        assert line.endswith(".")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_files_that_the_guides_name_are_there(name: str) -> None:
    top = ROOT.parent
    named = re.findall(r"`((?:tests|decalprep|fixtures)/[\w/.*-]+)`", (top / name).read_text())
    assert named
    assert [path for path in named if not any(top.glob(path))] == []


@pytest.mark.skipif(sys.platform == "win32", reason="no resource module")
def test_help_costs_little_more_than_an_empty_program() -> None:
    """At most 0.15 s of CPU over a click program that does nothing (median of five)."""
    import statistics

    empty = "import click\n@click.command()\ndef c(): pass\nc(['--help'], standalone_mode=False)"
    ours = "from decalprep.cli import run\nrun(['--help'])"
    code = "import resource, sys\nexec({!r})\nu = resource.getrusage(resource.RUSAGE_SELF)\n"
    code += "print(u.ru_utime + u.ru_stime, file=sys.stderr)"

    def cost(program: str) -> float:
        runs = [
            subprocess.run(
                [sys.executable, "-c", code.format(program)],
                capture_output=True,
                text=True,
                check=True,
            ).stderr
            for _ in range(5)
        ]
        return statistics.median(map(float, runs))

    assert cost(ours) - cost(empty) < 0.15
