"""The style sheets of an SVG resolved into style attributes, as a browser cascades them.

Converters know fewer selectors than browsers and pass over the rest in silence; after this step
there is nothing left for them to select. Source of the order: CSS Cascading and Inheritance 4
(presentation attribute < sheet < style attribute < !important).
"""

import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import cssselect2  # type: ignore[import-untyped]
import tinycss2  # type: ignore[import-untyped]

from decalprep.intake.svg_xml import local

_HARMLESS_AT_RULES = frozenset({"charset", "namespace", "keyframes", "-webkit-keyframes", "page"})


@dataclass
class SheetFindings:
    """What a style sheet asks for beyond styles: imports, fonts, other at-rules, bad rules."""

    imports: list[str] = field(default_factory=list)
    fonts: list[dict[str, str]] = field(default_factory=list)
    at_rules: list[str] = field(default_factory=list)
    bad_selectors: list[str] = field(default_factory=list)


def declared(element: Any, prop: str) -> str | None:
    """The value that ``element`` itself has for a property: style attribute, else attribute."""
    found: str | None = style_of(element).get(prop, element.get(prop))
    return found


def style_of(element: Any) -> dict[str, str]:
    """The style attribute as a dictionary; later declarations win."""
    text = element.get("style")
    if not text:
        return {}
    return dict(_style_items(text))


@lru_cache(maxsize=4096)
def _style_items(text: str) -> tuple[tuple[str, str], ...]:
    """Names and values; drawings repeat a few styles thousands of times."""
    found = _declarations(tinycss2.parse_declaration_list(text))
    return tuple({name: value for name, value, _ in found}.items())


def write_style(element: Any, style: dict[str, str]) -> None:
    """Replace the style attribute."""
    if style:
        element.set("style", ";".join(f"{name}:{value}" for name, value in style.items()))
    elif "style" in element.attrib:
        del element.attrib["style"]


def _declarations(nodes: Any) -> list[tuple[str, str, bool]]:
    return [
        (node.lower_name, tinycss2.serialize(node.value).strip(), bool(node.important))
        for node in nodes
        if node.type == "declaration"
    ]


def inline_styles(root: Any) -> SheetFindings:
    """Write the cascade into style attributes and remove the style elements (changes ``root``)."""
    findings = SheetFindings()
    matcher = cssselect2.Matcher()
    sheets = [e for e in root.iter() if local(e) == "style"]
    count = 0
    for sheet in sheets:
        if sheet.get("type", "text/css") in ("", "text/css"):
            count += _add_rules(matcher, "".join(sheet.itertext()), findings)
        parent = sheet.getparent()
        if parent is not None:
            _remove_keeping_tail(sheet)
    if count:
        for wrapper in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
            _apply(wrapper, matcher)
    return findings


def _remove_keeping_tail(element: Any) -> None:
    parent, tail = element.getparent(), element.tail
    if tail:
        before = element.getprevious()
        if before is not None:
            before.tail = (before.tail or "") + tail
        else:
            parent.text = (parent.text or "") + tail
    parent.remove(element)


def _add_rules(matcher: Any, text: str, findings: SheetFindings) -> int:
    count = 0
    for rule in tinycss2.parse_stylesheet(text, skip_comments=True, skip_whitespace=True):
        if rule.type == "at-rule":
            _note_at_rule(rule, findings)
        elif rule.type == "error":
            findings.bad_selectors.append(rule.message)
        elif rule.type == "qualified-rule":
            prelude = tinycss2.serialize(rule.prelude).strip()
            try:
                selectors = cssselect2.compile_selector_list(rule.prelude)
            except cssselect2.SelectorError:
                findings.bad_selectors.append(prelude)
                continue
            if ":lang(" in prelude.lower():
                # Programs disagree on whether xml:lang counts.
                findings.bad_selectors.append(prelude)
                continue
            content = _declarations(tinycss2.parse_declaration_list(rule.content))
            for selector in selectors:
                matcher.add_selector(selector, content)
                count += 1
    return count


def _note_at_rule(rule: Any, findings: SheetFindings) -> None:
    keyword = rule.lower_at_keyword
    if keyword == "import":
        findings.imports.append(tinycss2.serialize(rule.prelude).strip().strip("\"'"))
    elif keyword == "font-face" and rule.content is not None:
        declarations = _declarations(tinycss2.parse_declaration_list(rule.content))
        findings.fonts.append({name: value for name, value, _ in declarations})
    elif keyword not in _HARMLESS_AT_RULES:
        findings.at_rules.append(f"@{keyword}")


def _apply(wrapper: Any, matcher: Any) -> None:
    element = wrapper.etree_element
    if not isinstance(element.tag, str):
        return
    matches = sorted(matcher.match(wrapper), key=lambda match: match[:2])
    sheet = [d for _, _, pseudo, content in matches if pseudo is None for d in content]
    if not sheet:
        return
    own = _declarations(tinycss2.parse_declaration_list(element.get("style", "")))
    style: dict[str, str] = {}
    for important in (False, True):
        for name, value, weight in [*sheet, *own]:
            if weight is important:
                style.pop(name, None)
                style[name] = value
    write_style(element, style)


_CSS_UNIT = re.compile(r"(-?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)(px|deg)", re.IGNORECASE)


def plain_transform(value: str) -> str:
    """A CSS transform with its px and deg units removed, as the SVG attribute writes it.

    >>> plain_transform("translate(3px, 4px) rotate(45deg)")
    'translate(3, 4) rotate(45)'
    """
    return _CSS_UNIT.sub(r"\1", value)
