"""Give every text of an SVG its font face (changes the tree) and say what was chosen."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from decalprep.errors import Unfaithful
from decalprep.intake.svg_css import declared, style_of, write_style
from decalprep.intake.svg_fonts import (
    Choice,
    Face,
    FontShelf,
    Wish,
    characters_of,
    expand_font,
    is_drawn,
    parse_families,
    parse_stretch,
    parse_weight,
    runs_by_face,
)
from decalprep.intake.svg_xml import SVG, XLINK_HREF, local
from decalprep.model import Notice, Severity

TEXT_ELEMENTS = frozenset({"text", "tspan", "textPath", "a"})


@dataclass
class FontsUsed:
    """The faces used, each under the family name the text now asks for, and what was told."""

    families: dict[Face, str] = field(default_factory=dict)
    notices: list[Notice] = field(default_factory=list)
    told: set[str] = field(default_factory=set)

    def family_of(self, face: Face) -> str:
        """The name that stands for the face in the prepared file."""
        return self.families.setdefault(face, f"face{len(self.families)}x")

    def tell(self, code: str, text: str, name: str, severity: Severity) -> None:
        """Add a notice once."""
        if text not in self.told:
            self.told.add(text)
            self.notices.append(Notice(code, text, name, severity))


def settle_fonts(root: Any, shelf: FontShelf, *, name: str, refuse: bool = False) -> FontsUsed:
    """Make each text ask for one known face (changes ``root``).

    ``refuse`` refuses a missing family; else what stands in for it is told as a danger.

    Raises:
        Unfaithful: a character that no font here has, or a missing family when ``refuse``.
    """
    used = FontsUsed()
    context = _use_contexts(root, name)
    for element, wish, transform in list(_walk(root, context)):
        texts = [element.text, *[child.tail for child in element]]
        if not any(text and text.strip() for text in texts):
            continue
        choice = shelf.choose(wish)
        _tell_choice(choice, wish, used, name=name, refuse=refuse)
        _recase(element, transform)
        _ask_for(element, used.family_of(choice.face))
        _split_runs(element, choice.face, wish, shelf=shelf, used=used, name=name)
    return used


def _walk(root: Any, context: dict[Any, Wish]) -> Iterator[tuple[Any, Wish, str]]:
    """Each text element with what it asks for and its text-transform, in document order.

    ``context`` gives the wish that a used element inherits from its use.
    """
    stack: list[tuple[Any, Wish, str, bool]] = [(root, Wish(), "none", False)]
    while stack:
        element, wish, transform, inside_text = stack.pop()
        kind = local(element)
        if not kind:
            continue
        wish = _wish(element, context.get(element, wish))
        transform = declared(element, "text-transform") or transform
        inside_text = kind == "text" or (inside_text and kind in TEXT_ELEMENTS)
        if inside_text:
            yield element, wish, transform
        stack += [(child, wish, transform, inside_text) for child in reversed(element)]


def _use_contexts(root: Any, name: str) -> dict[Any, Wish]:
    """What used elements with text in them inherit: from their use, not from where they stand.

    Raises:
        Unfaithful: one text is used in places that ask for different fonts.
    """
    uses = [e for e in root.iter() if local(e) == "use"]
    if not uses:
        return {}
    by_id = {e.get("id"): e for e in root.iter() if isinstance(e.tag, str) and e.get("id")}
    contexts: dict[Any, set[Wish]] = {}
    for use in uses:
        target = by_id.get((use.get("href") or use.get(XLINK_HREF) or "")[1:])
        if target is not None and any(local(e) == "text" for e in target.iter()):
            contexts.setdefault(target, set()).add(_wish_at(use))
    for target, wishes in contexts.items():
        above = list(target.iterancestors())
        if local(target) != "symbol" and not any(local(e) in ("defs", "symbol") for e in above):
            wishes.add(_wish_at(target.getparent()))
        own = {_wish(target, wish) for wish in wishes}
        if len(own) > 1:
            raise Unfaithful(
                f"uses the text of {target.get('id')!r} in places that ask for different fonts",
                where=name,
                do="state the font on the text itself",
            )
    return {target: next(iter(wishes)) for target, wishes in contexts.items()}


def _wish_at(element: Any) -> Wish:
    """What a text inside ``element`` would ask for."""
    wish = Wish()
    for each in [*reversed(list(element.iterancestors())), element]:
        wish = _wish(each, wish)
    return wish


def _wish(element: Any, wish: Wish) -> Wish:
    style = {**dict(element.attrib), **style_of(element)}
    if "font" in style:
        longhands = expand_font(style["font"])
        style = {**style, **longhands}
    families = style.get("font-family")
    if families and families.strip() not in ("inherit", "unset"):
        wish = replace(wish, families=parse_families(families))
    if "font-weight" in style:
        wish = replace(wish, weight=parse_weight(style["font-weight"], wish.weight))
    if style.get("font-style", "inherit") != "inherit":
        slanted = style["font-style"].split()[0].lower() in ("italic", "oblique")
        wish = replace(wish, slanted=slanted)
    if "font-stretch" in style:
        wish = replace(wish, stretch=parse_stretch(style["font-stretch"], wish.stretch))
    return wish


def _tell_choice(choice: Choice, wish: Wish, used: FontsUsed, *, name: str, refuse: bool) -> None:
    got = choice.face.described
    if choice.missing:
        wanted = ", ".join(choice.missing)
        if refuse:
            raise Unfaithful(
                f"font {wanted} is not installed",
                where=name,
                do="install it, lay it beside the artwork, convert the text to paths, or allow "
                "missing fonts",
            )
        text = (
            f"font {wanted} is not installed; {got} stands in, so lines of text differ in width "
            "and shape; install it, lay it beside the artwork, or convert the text to paths"
        )
        used.tell("font-missing", text, name, Severity.DANGER)
    elif choice.generic or not wish.families:
        asked = f"asks for any {choice.generic or 'serif'} font"
        used.tell("font-generic", f"text {asked}; {got} was taken", name, Severity.NOTE)
    if wish.weight >= 600 > choice.face.weight or wish.weight < 500 < choice.face.weight:
        text = f"{choice.face.families[0]} has no weight near {wish.weight}; {got} was taken"
        used.tell("font-weight", text, name, Severity.WARNING)
    if wish.slanted and not choice.face.slanted:
        text = f"{choice.face.families[0]} has no italic here; {got} was taken upright"
        used.tell("font-style", text, name, Severity.WARNING)


def _ask_for(element: Any, family: str) -> None:
    style = style_of(element)
    shorthand = style.pop("font", None)
    if shorthand is not None:
        longhands = expand_font(shorthand)
        for key in ("font-size", "font-variant"):
            if key in longhands:
                style.setdefault(key, longhands[key])
    for key in ("font-family", "font-weight", "font-style", "font-stretch", "text-transform"):
        style.pop(key, None)
        element.attrib.pop(key, None)
    style |= {"font-family": family, "font-weight": "normal", "font-style": "normal"}
    style["font-stretch"] = "normal"
    write_style(element, style)


def _recase(element: Any, transform: str) -> None:
    """Carry out text-transform, which converters pass over."""
    change = {"uppercase": str.upper, "lowercase": str.lower, "capitalize": _capitalised}.get(
        transform.strip().lower()
    )
    if change is None:
        return
    if element.text:
        element.text = change(element.text)
    for child in element:
        if child.tail:
            child.tail = change(child.tail)


def _capitalised(text: str) -> str:
    return "".join(c.upper() if i == 0 or text[i - 1].isspace() else c for i, c in enumerate(text))


def _split_runs(
    element: Any, face: Face, wish: Wish, *, shelf: FontShelf, used: FontsUsed, name: str
) -> None:
    """Put characters the face does not have into a tspan of their own, in a face that has them."""
    texts = [element.text or "", *[child.tail or "" for child in element]]
    have = characters_of(face)
    lacking = sorted({c for t in texts for c in t if is_drawn(c) and ord(c) not in have})
    if not lacking:
        return
    others: list[Face] = []
    for character in lacking:
        if any(ord(character) in characters_of(other) for other in others):
            continue
        other = shelf.with_character(character, wish)
        if other is None:
            raise Unfaithful(
                f"no font here has the character {character!r} (U+{ord(character):04X})",
                where=name,
                do="install a font that has it, or convert the text to paths",
            )
        others.append(other)
    shown = "".join(lacking[:8])
    text = f"{face.described} lacks {shown!r}; taken from {others[0].described}"
    used.tell("font-character", text, name, Severity.WARNING)
    faces = [face, *others]
    sets = [characters_of(f) for f in faces]
    # From the last piece to the first, so that the places of the earlier ones stay right.
    for place in range(len(texts) - 1, -1, -1):
        runs = runs_by_face(texts[place], sets)
        if any(which > 0 for which, _ in runs):
            _replace_piece(element, place, [(used.family_of(faces[max(w, 0)]), t) for w, t in runs])


def _replace_piece(element: Any, place: int, runs: list[tuple[str, str]]) -> None:
    if place == 0:
        element.text = None
    else:
        element[place - 1].tail = None
    for offset, (family, text) in enumerate(runs):
        piece = element.makeelement(SVG + "tspan")
        piece.text = text
        piece.set("style", f"font-family:{family};font-weight:normal;font-style:normal")
        element.insert(place + offset, piece)
