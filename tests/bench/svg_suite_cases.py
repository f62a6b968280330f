"""The cases of a public SVG suite under a folder: drawings, their pictures, their fonts.

A picture is the PNG of the same name, or of that name with ``-ref``. Fonts are those of the
nearest folder ``fonts`` or ``resources`` on the way up to the suite's folder and two beyond it.
"""

import base64
import hashlib
import re
from dataclasses import dataclass
from pathlib import Path

FONT_SUFFIXES = frozenset({".ttf", ".otf", ".ttc"})
MIME = {".png": "png", ".jpg": "jpeg", ".jpeg": "jpeg", ".gif": "gif", ".webp": "webp"}
TEXT = re.compile(rb"<(?:\w+:)?(?:text|tspan|textPath|tref|altGlyph|flowRoot)\b")
FILTER = re.compile(rb"<(?:\w+:)?(?:filter|fe[A-Z]\w*)\b|\bfilter\s*[:=]\s*[\"']?\s*[a-z-]+\(")
IMAGE_LINK = re.compile(r"""(href\s*=\s*)(["'])([^"'#:]+\.(?:png|jpe?g|gif|webp|svgz?))\2""", re.I)
ICONS = "adwaita"
"""Several hundred plain icons of one set lie in one of the suites; they would prop up a share."""


@dataclass(frozen=True)
class Case:
    """One drawing, the suite's own picture of it, and the fonts the suite gives it."""

    svg: Path
    png: Path
    name: str
    fonts: tuple[Path, ...]

    @property
    def key(self) -> str:
        """A name for files about this case."""
        return hashlib.sha256(self.name.encode()).hexdigest()[:16]

    @property
    def judging(self) -> bool:
        """Whether it belongs to the half that features were not developed on."""
        return bool(int(hashlib.sha256(self.name.encode()).hexdigest(), 16) % 2)

    @property
    def kind(self) -> str:
        """text, filter or rest, by what the file holds."""
        data = self.svg.read_bytes()
        return "text" if TEXT.search(data) else "filter" if FILTER.search(data) else "rest"

    def whole(self) -> bytes:
        """The file with the pictures it links to laid in, for a browser's <img>."""
        text = self.svg.read_bytes().decode("utf-8", "surrogateescape")
        return IMAGE_LINK.sub(self._laid_in, text).encode("utf-8", "surrogateescape")

    def beside(self, folder: Path) -> Path:
        """The file in a folder with the pictures it links to beside it, for our own intake.

        Suites keep their pictures in folders above the drawing, where intake never reads.
        """
        text = self.svg.read_bytes().decode("utf-8", "surrogateescape")
        if not IMAGE_LINK.search(text):
            return self.svg
        for match in IMAGE_LINK.finditer(text):
            linked = self.svg.parent / match[3]
            if linked.is_file():
                (folder / linked.name).write_bytes(linked.read_bytes())
        text = IMAGE_LINK.sub(lambda m: f"{m[1]}{m[2]}{Path(m[3]).name}{m[2]}", text)
        path = folder / f"artwork-{self.svg.name}"
        path.write_bytes(text.encode("utf-8", "surrogateescape"))
        return path

    def _laid_in(self, match: "re.Match[str]") -> str:
        beside = self.svg.parent / match[3]
        if not beside.is_file():
            return match[0]
        kind = MIME.get(beside.suffix.lower(), "svg+xml")
        data = base64.b64encode(beside.read_bytes()).decode()
        return f"{match[1]}{match[2]}data:image/{kind};base64,{data}{match[2]}"


def fonts_for(folder: Path, root: Path) -> tuple[Path, ...]:
    """Fonts of the nearest folder that holds any."""
    stop = root.resolve().parent.parent
    for above in (folder, *folder.resolve().parents):
        for name in ("fonts", "resources"):
            found = [
                p for p in sorted((above / name).glob("*")) if p.suffix.lower() in FONT_SUFFIXES
            ]
            if found:
                return tuple(found)
        if above == stop:
            break
    return ()


def cases_under(root: Path) -> list[Case]:
    """Every drawing with a picture beside it, in order of its path; icons of one set left out."""
    cases = []
    fonts: dict[Path, tuple[Path, ...]] = {}
    for svg in sorted(root.rglob("*.svg")):
        pngs = [svg.with_suffix(".png"), svg.with_name(f"{svg.stem}-ref.png")]
        png = next((p for p in pngs if p.exists()), None)
        if png is None or ICONS in svg.parts:
            continue
        if svg.parent not in fonts:
            fonts[svg.parent] = fonts_for(svg.parent, root)
        cases.append(Case(svg, png, str(svg.relative_to(root)), fonts[svg.parent]))
    return cases


FAMILIES = {
    "serif": ("Noto Serif", "Roboto"),
    "sans-serif": ("Noto Sans", "Roboto"),
    "monospace": ("Noto Mono", "Roboto"),
    "cursive": ("Yellowtail", "Roboto"),
    "fantasy": ("Sedgwick Ave Display", "Roboto"),
}
"""The families that the suites give for the generic ones."""


def font_config(folder: Path, cache: Path) -> str:
    """A fontconfig file that knows this folder and the suites' generic families alone."""
    lines = [f"<dir>{folder}</dir>", f"<cachedir>{cache}</cachedir>"]
    for family, (first, second) in FAMILIES.items():
        prefer = f"<prefer><family>{first}</family><family>{second}</family></prefer>"
        lines.append(f"<alias binding='same'><family>{family}</family>{prefer}</alias>")
    first, second = FAMILIES["serif"]
    for family in ("Times New Roman", "Times", "Arial", "Helvetica", "Verdana"):
        prefer = f"<prefer><family>{first}</family><family>{second}</family></prefer>"
        lines.append(f"<alias binding='same'><family>{family}</family>{prefer}</alias>")
    return f"<?xml version='1.0'?><fontconfig>{''.join(lines)}</fontconfig>"
