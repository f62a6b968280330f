"""The console top of the tug trainer: an invented panel larger than A4, as SVG."""

from pathlib import Path

GROUPS = ("TOW WINCH", "THRUSTER", "STEERING", "ENGINE 1", "ENGINE 2", "FIRE PUMP", "LIGHTS")
FIRST_MM, PITCH_MM, WIDE_MM = 20.0, 70.0, 58.0
"""Frames of the groups: left edge of the first, from one to the next, width."""


def console_top(
    width: float = 520, height: float = 160, extra: str = "", *, switches: int = 3
) -> str:
    """Seven framed groups of three switches or fewer, layers ground, legend, holes and cut."""
    plate = f'<rect width="{width}" height="{height}" rx="6"'
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f'<g id="ground">{plate} fill="#20262b"/></g><g id="legend">{extra}',
    ]
    lefts = [FIRST_MM + k * PITCH_MM for k in range(len(GROUPS))]
    for x, name in zip(lefts, GROUPS, strict=True):
        rows.append(
            f'<rect x="{x}" y="15" width="{WIDE_MM}" height="{height - 30}" rx="3" fill="none" '
            'stroke="#fdfdfd" stroke-width="0.6"/>'
            f'<text x="{x + 29}" y="28" font-family="Bitstream Vera Sans" font-size="6" '
            f'text-anchor="middle" fill="#fdfdfd">{name}</text>'
        )
        rows += [
            f'<path d="M{x + 10} {50 + i * 35}h38" stroke="#e8b000" stroke-width="1"/>'
            for i in range(switches)
        ]
    rows.append('</g><g id="holes" fill="none" stroke="#e0007a" stroke-width="0.1">')
    rows += [
        f'<circle cx="{x + 29}" cy="{62 + i * 30}" r="6.1"/>'
        for x in lefts
        for i in range(switches)
    ]
    rows += [
        f'<circle cx="{x}" cy="{y}" r="1.7"/>' for x in (6, width - 6) for y in (6, height - 6)
    ]
    rows.append(
        f'</g><g id="cut" fill="none" stroke="#e0007a" stroke-width="0.1">{plate}/></g></svg>'
    )
    return "\n".join(rows)


def tile_job(
    folder: Path, *, sheet: str = "A4", panel: str = "tile = true", more: str = ""
) -> Path:
    """A job file for the console top in ``folder``, which holds its drawing already."""
    text = (
        f'[job]\ntitle = "Console top"\npasses = 4\n[[sheet]]\nname = "{sheet}"\nsize = "{sheet}"\n'
        '[[panel]]\nname = "console top"\nartwork = "top.svg"\noutline_layer = "cut"\n'
        f'hole_layer = "holes"\n{panel}\n{more}'
    )
    path = folder / "job.toml"
    path.write_text(text)
    return path
