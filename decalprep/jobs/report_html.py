"""HTML built so that nothing a person typed can become markup: text is escaped, always.

Only ``tag`` and ``join`` make ``Html``; whatever else is given to them is text.
"""

from __future__ import annotations

import html
from collections.abc import Iterable

VOID = {"meta", "img", "input", "br"}
CONTROLS = {*range(32), *range(0x7F, 0xA0)} - {ord("\n"), ord("\t")}
TURNERS = {*range(0x202A, 0x202F), *range(0x2066, 0x206A)}
"""Characters that turn the direction of the text after them, in whatever it is put."""
_PLAIN = dict.fromkeys(CONTROLS | TURNERS, "\ufffd")
Child = object


class Html(str):
    """Markup that is finished and safe to join; does not check what it is made from."""

    __slots__ = ()


def text(value: object) -> Html:
    """Any value as text: markup and control characters in it have no effect.

    >>> text("<b> & 'c'")
    '&lt;b&gt; &amp; &#x27;c&#x27;'
    """
    if isinstance(value, Html):
        return value
    plain = str(value).translate(_PLAIN)
    # lone surrogates come from file names that are not UTF-8; they cannot be written
    plain = plain.encode("utf-8", "replace").decode("utf-8")
    return Html(html.escape(plain, quote=True))


def join(children: Iterable[Child], between: str = "") -> Html:
    """The children in order; those that are not Html are escaped, None is left out."""
    return Html(text(between).join(text(child) for child in children if child is not None))


def tag(name: str, /, *children: Child, **attributes: object) -> Html:
    """One element; None and False attributes are left out, True ones stand without a value.

    Underscores become hyphens, and a last one is dropped: ``class_``, ``for_``, ``aria_label``.

    >>> tag("p", "5 < 6", class_="told", hidden=False)
    '<p class="told">5 &lt; 6</p>'
    >>> tag("input", type="checkbox", checked=True)
    '<input type="checkbox" checked>'
    """
    parts = [name]
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        shown = key.rstrip("_").replace("_", "-")
        parts.append(shown if value is True else f'{shown}="{text(value)}"')
    head = f"<{' '.join(parts)}>"
    return Html(head) if name in VOID else Html(f"{head}{join(children)}</{name}>")
