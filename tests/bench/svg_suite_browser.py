"""Drawings of a suite's files by two programs of others, each drawn once and kept in a folder.

The browser is the unrelated one; the rasteriser shares its SVG parser with our first route.
Both draw over four times the picture's pixels, reduced afterwards.
"""

import base64
import io
import json
import os
import subprocess
import sys
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from browser import Browser, browser
from svg_suite_cases import FAMILIES, Case, font_config

FINER = 4
BATCH_PX = 1_400_000


def draw_in_browser(cases: Sequence[Case], folder: Path) -> None:
    """PNGs ``<key>.browser.png`` of the pictures' sizes; an empty file where it shows nothing."""
    todo: dict[Path, dict[tuple[int, int], list[Case]]] = defaultdict(lambda: defaultdict(list))
    for case in cases:
        if not _kept(case, folder, "browser").exists():
            with Image.open(case.png) as picture:
                todo[case.fonts[0].parent if case.fonts else folder][picture.size].append(case)
    for fonts, by_size in todo.items():
        config = folder / "fonts.conf"
        config.write_text(font_config(fonts, folder / "fontcache"))
        os.environ["FONTCONFIG_FILE"] = str(config)
        with browser() as seen:
            for size, of_size in by_size.items():
                step = max(BATCH_PX // (size[0] * size[1]), 1)
                for start in range(0, len(of_size), step):
                    _draw_batch(seen, of_size[start : start + step], size, folder)


def _kept(case: Case, folder: Path, which: str) -> Path:
    return folder / f"{case.key}.{which}.png"


def _draw_batch(seen: Browser, cases: Sequence[Case], size: tuple[int, int], folder: Path) -> None:
    wide, tall = size
    across = max(int((BATCH_PX**0.5) // wide), 1)
    rows = -(-len(cases) // across)
    images = []
    for i, case in enumerate(cases):
        (folder / f"{i}.svg").write_bytes(case.whole())
        place = f"left:{i % across * wide}px;top:{i // across * tall}px"
        images.append(
            f'<img src="{i}.svg" style="position:absolute;{place};width:{wide}px;height:{tall}px">'
        )
    page = folder / "batch.html"
    page.write_text(f"<!doctype html><body style='margin:0'>{''.join(images)}")
    seen.ask(
        "Emulation.setDeviceMetricsOverride",
        width=across * wide,
        height=rows * tall,
        deviceScaleFactor=FINER,
        mobile=False,
    )
    seen.open(page)
    told = seen.ask(
        "Runtime.evaluate",
        expression="Promise.all([...document.images].map(i => i.decode().then(() => 1, () => 0)))"
        ".then(a => JSON.stringify(a))",
        awaitPromise=True,
        returnByValue=True,
    )
    loaded = json.loads(told["result"]["value"])
    shot = seen.ask("Page.captureScreenshot", format="png", optimizeForSpeed=True)
    with Image.open(io.BytesIO(base64.b64decode(shot["data"]))) as whole:
        whole.load()
        for i, case in enumerate(cases):
            left, top = i % across * wide * FINER, i // across * tall * FINER
            piece = whole.crop((left, top, left + wide * FINER, top + tall * FINER))
            path = _kept(case, folder, "browser")
            if loaded[i]:
                piece.convert("RGB").resize(size, Image.Resampling.BOX).save(path)
            else:
                path.write_bytes(b"")


RASTERISE = """
import io, sys, resvg_py
from PIL import Image
svg, png, wide, tall, folder = sys.argv[1:6]
families = dict(zip(("serif", "sans_serif", "monospace", "cursive", "fantasy"), sys.argv[6:11]))
drawn = resvg_py.svg_to_bytes(svg_path=svg, skip_system_fonts=True, font_files=sys.argv[11:],
    width=int(wide) * 4, resources_dir=folder, dpi=96.0, languages=["en"],
    **{f"{k}_family": v for k, v in families.items()})
picture = Image.open(io.BytesIO(bytes(drawn))).convert("RGBA")
white = Image.new("RGBA", picture.size, "white")
white.alpha_composite(picture)
white.convert("RGB").resize((int(wide), int(tall)), Image.Resampling.BOX).save(png)
"""


def draw_raw(case: Case, folder: Path) -> Path:
    """The rasteriser's drawing of the file as it comes; an empty file where it refuses or hangs."""
    path = _kept(case, folder, "raw")
    if path.exists():
        return path
    with Image.open(case.png) as picture:
        size = [str(side) for side in picture.size]
    which = 0 if any("NotoSans" in f.name for f in case.fonts) else 1
    families = [pair[which] for pair in FAMILIES.values()]
    arguments = [str(case.svg), str(path), *size, str(case.svg.parent), *families]
    try:
        subprocess.run(
            [sys.executable, "-c", RASTERISE, *arguments, *map(str, case.fonts)],
            capture_output=True,
            timeout=20,
            check=True,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        path.write_bytes(b"")
    return path
