"""Which font file each piece of text gets, chosen by ourselves and told.

Converters and rasterisers drop text whose font they do not find, all in silence. So every text
is given one face from the folders known here; the face is copied under a family name of its own
and the text is made to ask for that name. All routes then draw from the same file, and a
character no font has is found before anything is drawn. Source of the choice among faces: CSS
Fonts 4, 5.2 (font style matching: stretch, style, weight).
"""

import io
import os
import re
import sys
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

SUFFIXES = frozenset({".ttf", ".otf", ".ttc", ".otc"})
MAX_FILES = 8000
STAND_IN = "Bitstream Vera Sans"
"""Ships with the reportlab package, so it is there on every machine."""

GENERIC: dict[str, tuple[str, ...]] = {
    "sans-serif": (STAND_IN, "DejaVu Sans"),
    "serif": ("DejaVu Serif", "Liberation Serif", "Times New Roman", "Noto Serif", "Georgia"),
    "monospace": ("DejaVu Sans Mono", "Liberation Mono", "Courier New", "Menlo", "Consolas"),
    "system-ui": (STAND_IN,),
    "ui-sans-serif": (STAND_IN,),
    "cursive": ("Comic Sans MS", "Apple Chancery"),
    "fantasy": ("Impact", "Papyrus"),
}
_WEIGHTS = {"normal": 400, "bold": 700}
_STRETCHES = (
    "ultra-condensed",
    "extra-condensed",
    "condensed",
    "semi-condensed",
    "normal",
    "semi-expanded",
    "expanded",
    "extra-expanded",
    "ultra-expanded",
)


@dataclass(frozen=True)
class Face:
    """One face of one font file; ``data`` where the font came inside the artwork."""

    path: Path
    number: int
    families: tuple[str, ...]
    weight: int
    slanted: bool
    stretch: int
    variable: bool = False
    data: bytes | None = field(default=None, repr=False)

    @property
    def described(self) -> str:
        """Family and style in words."""
        style = f" {self.weight}" if self.weight != 400 else ""
        return f"{self.families[0]}{style}{' italic' if self.slanted else ''}"


@dataclass(frozen=True)
class Wish:
    """What a text asks for: families in order, weight, slant and stretch (1 to 9)."""

    families: tuple[str, ...] = ()
    weight: int = 400
    slanted: bool = False
    stretch: int = 5


@dataclass(frozen=True)
class Choice:
    """The face for a wish; ``missing`` are the families passed over, ``named`` the one taken."""

    face: Face
    missing: tuple[str, ...] = ()
    generic: str = ""
    stood_in: bool = False


def shipped_folder() -> Path:
    """The folder of fonts that comes with the reportlab package."""
    import reportlab

    return Path(reportlab.__file__).parent / "fonts"


def system_folders() -> tuple[Path, ...]:
    """Where this system keeps its fonts; the ones that exist."""
    home = Path.home()
    if sys.platform == "win32":
        windows = Path(os.environ.get("WINDIR", r"C:\Windows"))
        local = Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local"))
        found = [windows / "Fonts", local / "Microsoft" / "Windows" / "Fonts"]
    elif sys.platform == "darwin":
        found = [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    else:
        data = os.environ.get("XDG_DATA_HOME") or str(home / ".local" / "share")
        found = [Path("/usr/share/fonts"), Path("/usr/local/share/fonts")]
        found += [Path(data) / "fonts", home / ".fonts"]
    return tuple(folder for folder in found if folder.is_dir())


@lru_cache(maxsize=64)
def faces_in(folder: Path, *, deep: bool) -> tuple[Face, ...]:
    """Every face of the fonts in a folder, sorted by path; damaged fonts are passed over."""
    pattern = "**/*" if deep else "*"
    files: list[Path] = []
    try:
        for path in folder.glob(pattern):
            if path.suffix.lower() in SUFFIXES:
                files.append(path)
                if len(files) >= MAX_FILES:
                    break
    except OSError:
        return ()
    return tuple(face for path in sorted(files) for face in _faces_of(path))


def _faces_of(path: Path) -> list[Face]:
    from fontTools.ttLib import TTCollection, TTFont

    try:
        # Opened here, so that a font that cannot be read is closed as well.
        with path.open("rb") as stream:
            if path.suffix.lower() in (".ttc", ".otc"):
                fonts = TTCollection(stream, lazy=True)
                return [_face(path, i, font) for i, font in enumerate(fonts)]
            return [_face(path, 0, TTFont(stream, lazy=True))]
    except Exception:
        # A font file can be damaged in as many ways as there are tables; it is then no font here.
        return []


def _face(path: Path, number: int, font: Any, *, named: bool = True) -> Face:
    names = font["name"] if named or "name" in font else None
    families = [names.getDebugName(i) for i in (16, 1, 4)] if names is not None else []
    unique = tuple(dict.fromkeys(f for f in families if f))
    if not unique and named:
        raise ValueError("a font without a name")
    os2: Any = font.get("OS/2")
    mac = font["head"].macStyle
    weight = os2.usWeightClass if os2 is not None else (700 if mac & 1 else 400)
    slanted = bool(os2.fsSelection & 0x201) if os2 is not None else bool(mac & 2)
    stretch = os2.usWidthClass if os2 is not None else 5
    return Face(path, number, unique, weight, slanted, min(max(stretch, 1), 9), "fvar" in font)


def face_of_bytes(data: bytes, number: int) -> Face:
    """The first face of a font that came inside an artwork; fontTools' errors pass."""
    from fontTools.ttLib import TTFont

    first = 0 if data[:4] == b"ttcf" else -1
    with TTFont(io.BytesIO(data), fontNumber=first) as font:
        font.getBestCmap()
        face = _face(Path(f"embedded font {number + 1}"), max(first, 0), font, named=False)
        return replace(face, data=data)


def _opened(face: Face, **options: Any) -> Any:
    from fontTools.ttLib import TTFont

    source = face.path if face.data is None else io.BytesIO(face.data)
    return TTFont(source, fontNumber=face.number, **options)


@dataclass
class FontShelf:
    """The fonts at hand: the artwork's own, its folder's, those shipped, then the system's.

    The system is searched only when the first two do not have a family, for it can be slow.
    """

    artwork_folder: Path | None = None
    use_system: bool = True
    extra: tuple[Path, ...] = ()
    embedded: tuple[Face, ...] = ()
    _near: tuple[Face, ...] | None = field(default=None, repr=False)

    def near(self) -> tuple[Face, ...]:
        """Faces from the artwork's folder (and its folder ``fonts``) and the shipped ones."""
        if self._near is None:
            folders = list(self.extra)
            if self.artwork_folder is not None:
                folders += [self.artwork_folder, self.artwork_folder / "fonts"]
            own = [f for folder in folders for f in faces_in(folder, deep=False)]
            shipped = [f for f in faces_in(shipped_folder(), deep=False) if "Vera" in f.path.name]
            self._near = (*own, *shipped)
        return self._near

    def system(self) -> tuple[Face, ...]:
        """Faces of the system's folders."""
        if not self.use_system:
            return ()
        return tuple(f for folder in system_folders() for f in faces_in(folder, deep=True))

    def family(self, name: str) -> list[Face]:
        """All faces of a family, or the one face of a full font name."""
        wanted = name.casefold()
        own = [f for f in self.embedded if wanted == f.families[0].casefold()]
        if own:
            return own
        for faces in (self.near(), self.system()):
            by_family = [f for f in faces if wanted in (n.casefold() for n in f.families[:2])]
            found = by_family or [f for f in faces if wanted == f.families[-1].casefold()]
            if found:
                return found
        return []

    def choose(self, wish: Wish) -> Choice:
        """The face for a wish; always one, for the shipped family stands in at the end."""
        missing: list[str] = []
        for name in wish.families or ("serif",):
            generic = name.casefold()
            candidates = GENERIC.get(generic, (name,))
            for candidate in candidates:
                faces = self.family(candidate)
                if faces:
                    told = generic if generic in GENERIC else ""
                    return Choice(best_face(faces, wish), tuple(missing), told, bool(missing))
            missing.append(name)
        stand_in = best_face(self.family(STAND_IN), wish)
        return Choice(stand_in, tuple(missing), "", stood_in=True)

    def with_character(self, character: str, wish: Wish) -> Face | None:
        """A face that has the character, or None."""
        code = ord(character)
        for faces in (self.near(), self.system()):
            having = [f for f in faces if code in characters_of(f)]
            if having:
                family = having[0].families[0]
                return best_face([f for f in having if f.families[0] == family], wish)
        return None


def best_face(faces: Sequence[Face], wish: Wish) -> Face:
    """The closest face: stretch first, then slant, then weight as CSS orders them."""

    def distance(face: Face) -> tuple[int, bool, int, str]:
        return (
            abs(face.stretch - wish.stretch),
            face.slanted != wish.slanted,
            _weight_distance(face.weight, wish.weight),
            str(face.path),
        )

    return min(faces, key=distance)


def _weight_distance(have: int, want: int) -> int:
    """CSS Fonts 4, 5.2: between 400 and 500 look up to 500 first, under 400 down, over 500 up."""
    if have == want:
        return 0
    if 400 <= want <= 500:
        if want < have <= 500:
            return have - want
        return 1000 + (want - have) if have < want else 2000 + have - want
    lighter_first = want < 400
    towards = have < want if lighter_first else have > want
    return abs(have - want) if towards else 1000 + abs(have - want)


@lru_cache(maxsize=256)
def characters_of(face: Face) -> frozenset[int]:
    """Every character code the face has a glyph for."""
    try:
        with _opened(face, lazy=True) as font:
            return frozenset(font.getBestCmap() or ())
    except Exception:
        return frozenset()


def is_drawn(character: str) -> bool:
    """Whether a character needs a glyph (white space, controls and joiners do not)."""
    return not character.isspace() and unicodedata.category(character) not in (
        "Cc",
        "Cf",
        "Mn",
        "Zs",
    )


def _names(font: Any) -> Any:
    """The font's table of names, made where there is none."""
    from fontTools.ttLib import newTable

    if "name" not in font:
        font["name"] = newTable("name")
        font["name"].names = []
    names = font["name"]
    for number in (1, 2, 4, 6):
        if names.getDebugName(number) is None:
            names.setName("face", number, 3, 1, 0x409)
    return names


def copy_under(face: Face, family: str, folder: Path) -> Path:
    """Write the face as a font file whose only family name is ``family``; glyphs unchanged.

    A variable font is taken at its default instance.
    """
    with _opened(face, recalcBBoxes=False, recalcTimestamp=False) as font:
        font.flavor = None
        names = _names(font)
        names.names = [n for n in names.names if n.nameID not in (16, 17, 21, 22, 25)]
        for record in names.names:
            if record.nameID == 1:
                record.string = family
            elif record.nameID == 2:
                record.string = "Regular"
        if "OS/2" in font:
            font["OS/2"].usWeightClass = 400
            font["OS/2"].usWidthClass = 5
            font["OS/2"].fsSelection = 0x40
        font["head"].macStyle = 0
        for table in ("fvar", "gvar", "avar", "HVAR", "MVAR", "VVAR", "STAT", "DSIG"):
            if table in font:
                del font[table]
        path = folder / f"{family}{'.otf' if 'CFF ' in font else '.ttf'}"
        font.save(path, reorderTables=None)
    return path


_QUOTED = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([^,]+))\s*(?:,|$)""")


def parse_families(text: str) -> tuple[str, ...]:
    """Family names in order.

    >>> parse_families("'Harbour Sans', Arial , sans-serif")
    ('Harbour Sans', 'Arial', 'sans-serif')
    """
    found = []
    for match in _QUOTED.finditer(text):
        name = " ".join((match[1] or match[2] or match[3] or "").split())
        if name:
            found.append(name)
    return tuple(found)


def parse_weight(text: str, inherited: int) -> int:
    """A numeric weight from a font-weight value; an unknown one keeps the inherited.

    >>> parse_weight("bold", 400), parse_weight("350", 400), parse_weight("1500", 400)
    (700, 350, 400)
    """
    word = text.strip().lower()
    if word in _WEIGHTS:
        return _WEIGHTS[word]
    if word == "bolder":
        return 400 if inherited < 350 else 700 if inherited < 550 else 900
    if word == "lighter":
        return 100 if inherited < 550 else 400 if inherited < 750 else 700
    try:
        weight = float(word)
    except ValueError:
        return inherited
    return round(weight) if 1 <= weight <= 1000 else inherited


def parse_stretch(text: str, inherited: int) -> int:
    """1 to 9 from a font-stretch word; an unknown one keeps the inherited."""
    word = text.strip().lower()
    return _STRETCHES.index(word) + 1 if word in _STRETCHES else inherited


_SIZE = re.compile(
    r"^(?:xx-small|x-small|small|medium|large|x-large|xx-large|smaller|larger|"
    r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[a-z]+|%)?)(?:/\S+)?$",
    re.IGNORECASE,
)


def expand_font(value: str) -> dict[str, str]:
    """The longhands of a ``font`` shorthand; empty for a system font word.

    >>> expand_font("italic bold 12px/14px 'Harbour Sans', serif")["font-family"]
    "'Harbour Sans', serif"
    """
    words = value.split()
    style = {"font-style": "normal", "font-weight": "normal", "font-stretch": "normal"}
    for i, word in enumerate(words):
        low = word.lower()
        # A number of three digits without a unit before the size is a weight.
        if _SIZE.match(low) and not re.fullmatch(r"[1-9]00", low):
            size = low.split("/")[0]
            family = " ".join(words[i + 1 :])
            return {**style, "font-size": size, "font-family": family} if family else {}
        if low in ("italic", "oblique"):
            style["font-style"] = low
        elif low in ("bold", "bolder", "lighter") or low.isdigit():
            style["font-weight"] = low
        elif low in _STRETCHES and low != "normal":
            style["font-stretch"] = low
        elif low == "small-caps":
            style["font-variant"] = low
    return {}


def runs_by_face(text: str, has: Iterable[frozenset[int]]) -> list[tuple[int, str]]:
    """Split a text into runs of (number of the first set that has the character, text).

    Characters no set has keep the number -1; joiners and spaces stay with the run before them.

    >>> runs_by_face("ab→c", [frozenset(map(ord, "abc")), frozenset([0x2192])])
    [(0, 'ab'), (1, '→'), (0, 'c')]
    """
    sets = list(has)
    runs: list[tuple[int, str]] = []
    for character in text:
        if is_drawn(character):
            which = next((i for i, s in enumerate(sets) if ord(character) in s), -1)
        else:
            which = runs[-1][0] if runs else 0
        if runs and runs[-1][0] == which:
            runs[-1] = (which, runs[-1][1] + character)
        else:
            runs.append((which, character))
    return runs
