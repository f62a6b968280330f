"""Every SVG under a folder: no hang, no death, nothing read outside the artwork's folder.

    DECALPREP_SVG_SUITE=/path/to/suites python tests/bench/bench_svg_safety.py [pattern of paths]

Meant for files that no picture stands beside, such as those that once crashed other programs, and
for those that refer to other files. Each is read in a process of its own under ``strace``, where
that program is installed: a file opened, or a host asked for, that a plain drawing does not open
and that lies outside the artwork's folder and the temporary one is shown. Seconds are those of
the processor, for the wall's depend on what else the machine does.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

SLOW_SECONDS, HANG_SECONDS = 10.0, 120.0
VARIABLE = "DECALPREP_SVG_SUITE"
OUTSIDE = re.compile(
    rb"""href\s*=\s*["'](?!#|data:)[^"']|url\((?!\s*["']?\s*(?:#|data:))|SYSTEM|@import"""
)
CALL = re.compile(r'(?:open|openat|openat2|readlink|execve)\((?:AT_FDCWD, )?"([^"]+)"')
READ = """
import json, resource, sys
from pathlib import Path
from decalprep.errors import DecalprepError
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg
from decalprep.intake.svg_process import end_converters
try:
    read_svg(Path(sys.argv[1]), IntakeOptions(allow_missing_fonts=True))
    told = "taken"
except DecalprepError as problem:
    told = "refused " + type(problem).__name__
end_converters()  # their time counts once they have ended
used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps([told, sum(u.ru_utime + u.ru_stime for u in used)]))
"""


def read_watched(svg: Path, log: Path) -> tuple[str, float, float, set[str], set[str]]:
    """What became of it, processor and wall seconds, the files it opened and the hosts it asked."""
    command = [sys.executable, "-c", READ, str(svg)]
    if shutil.which("strace"):
        watch = ["strace", "-f", "-qq", "-o", str(log), "-e", "trace=open,openat,openat2,connect"]
        command = [*watch, *command]
    started = time.monotonic()
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=HANG_SECONDS, check=False
        )
        told, used = f"DIED ({done.returncode}) {done.stderr[-300:]}", 0.0
        if done.returncode == 0:
            told, used = json.loads(done.stdout)
    except subprocess.TimeoutExpired:
        told, used = "HUNG", HANG_SECONDS
    wall = time.monotonic() - started
    opened, asked = set(), set()
    for line in log.read_text(errors="replace").splitlines() if log.exists() else ():
        match = CALL.search(line)
        if match and "= -1" not in line and "O_EXCL" not in line:
            opened.add(os.path.normpath(match[1]))
        if "connect(" in line and "AF_INET" in line:
            asked.add(line)
    return told, used, wall, opened, asked


def main() -> int:
    """Print what was wrong and the counts; 1 where anything was."""
    suite = os.environ.get(VARIABLE)
    if not suite:
        sys.stderr.write(f"set {VARIABLE} to the folder of a suite\n")
        return 2
    part = sys.argv[1] if len(sys.argv) > 1 else ""
    files = [p for p in sorted(Path(suite).rglob("*.svg")) if re.search(part, str(p))]
    pictured = [p.with_suffix(".png").exists() for p in files]
    files = [
        p
        for p, has in zip(files, pictured, strict=True)
        if not (has or p.with_name(f"{p.stem}-ref.png").exists()) or OUTSIDE.search(p.read_bytes())
    ]
    counts: Counter[str] = Counter()
    bad, slowest = 0, (0.0, "")
    with tempfile.TemporaryDirectory() as folder:
        log, plain = Path(folder) / "log", Path(folder) / "art" / "plain.svg"
        plain.parent.mkdir()
        text = '<text y="9" font-family="serif">A</text><rect width="5" height="5"/>'
        plain.write_text(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">{text}</svg>'
        )
        usual = set().union(*(read_watched(plain, log)[3] for _ in range(2)))
        for svg in files:
            log.unlink(missing_ok=True)
            told, used, wall, opened, asked = read_watched(svg, log)
            counts[told[:30]] += 1
            slowest = max(slowest, (used, str(svg)))
            outside = {p for p in opened - usual if not is_inside(p, svg)}
            wrong = outside | asked or told.startswith(("DIED", "HUNG")) or used > SLOW_SECONDS
            if wrong:
                bad += 1
                print(f"{told} {used:.1f} s ({wall:.1f} s by the wall) {svg} {outside} {asked}")
    print(f"{len(files)} files, {bad} at fault; slowest {slowest[0]:.1f} s {slowest[1]}")
    for told, count in counts.most_common():
        print(f"{count:5} {told}")
    return 1 if bad else 0


LIBRARY = re.compile(r"/(site-packages|lib-dynload|lib/python3[.\d]*|decalprep|__pycache__)/")


def is_inside(path: str, svg: Path) -> bool:
    """The artwork's folder, the temporary folder, fonts, programs, and what the system shows."""
    if path.startswith(("/proc/", "/sys/", "/dev/", "/usr/lib/", "/lib/", "/usr/share/fonts/")):
        return True
    if path.startswith(f"{tempfile.gettempdir()}/decalprep-") or not path.startswith("/"):
        return not path.startswith("..")
    return bool(LIBRARY.search(path)) or Path(path).is_relative_to(svg.resolve().parent)


if __name__ == "__main__":
    sys.exit(main())
