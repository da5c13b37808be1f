"""A small builder for SVG text: the same calls always give the same characters.

Only what every renderer and typesetter knows: rect, line, path, circle, text, clip by not drawing. Texts are escaped.
"""

from __future__ import annotations

import zlib
from html import escape

from .look import PRINT_FONT, SCREEN_FONT, STYLESHEET, Look, Size, colour


def number(value: float) -> str:
    """A coordinate: two digits at most, no negative nought."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


class Drawing:
    """One figure under construction.

    Args:
        size: width and letters.
        look: where it will stand.
    """

    def __init__(self, size: Size, look: Look) -> None:
        self.size = size
        self.look = look
        self._parts: list[str] = []

    def rect(self, x: float, y: float, width: float, height: float, role: str, *, round_px: float = 0.0) -> None:
        """A filled rectangle; nothing for one without area."""
        if width > 0.0 and height > 0.0:
            rounded = f' rx="{number(round_px)}"' if round_px else ""
            self._add(f"<rect {_box(x, y, width, height)}{rounded} {self._fill(role)}/>")

    def frame(self, x: float, y: float, width: float, height: float, role: str, *, thick: float = 1.5) -> None:
        """An open rectangle."""
        self._add(f'<rect {_box(x, y, width, height)} rx="3" fill="none" {self._stroke(role, thick)}/>')

    def line(
        self, x1: float, y1: float, x2: float, y2: float, role: str, *, thick: float = 1.5, dash: str = ""
    ) -> None:
        """A straight line; ``dash`` as in SVG."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        ends = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
        self._add(f"<line {ends} {self._stroke(role, thick)}{dashed}/>")

    def path(self, points: list[tuple[float, float]], role: str, *, thick: float = 2.0) -> None:
        """An open line through points."""
        if len(points) > 1:
            steps = " ".join(f"{number(x)} {number(y)}" for x, y in points)
            joined = 'stroke-linejoin="round" stroke-linecap="round"'
            self._add(f'<path d="M{steps}" fill="none" {joined} {self._stroke(role, thick)}/>')

    def area(self, points: list[tuple[float, float]], role: str) -> None:
        """A filled polygon."""
        steps = " ".join(f"{number(x)} {number(y)}" for x, y in points)
        self._add(f'<path d="M{steps}Z" {self._fill(role)}/>')

    def circle(self, x: float, y: float, radius: float, role: str) -> None:
        """A filled circle."""
        self._add(f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" {self._fill(role)}/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        role: str = "ink",
        *,
        anchor: str = "start",
        bold: bool = False,
        scale: float = 1.0,
    ) -> None:
        """One line of text; ``y`` is its base line, ``anchor`` start, middle or end."""
        if not text:
            return
        weight = ' font-weight="700"' if bold else ""
        where = f'x="{number(x)}" y="{number(y)}" font-size="{number(self.size.letters * scale)}"'
        self._add(f'<text {where} text-anchor="{anchor}"{weight} {self._fill(role)}>{escape(text)}</text>')

    def finish(self, height: float, title: str, description: str) -> str:
        """The figure as SVG text, with title and description for whoever does not see it."""
        key = f"{zlib.crc32((title + description + ''.join(self._parts)).encode()):08x}"
        box = f'viewBox="0 0 {self.size.width} {number(height)}" width="{self.size.width}" height="{number(height)}"'
        name = f'role="img" aria-labelledby="t{key} d{key}"'
        font = PRINT_FONT if self.look is Look.PRINT else SCREEN_FONT
        kind = "" if self.look is Look.PRINT else 'class="fig" '
        style = f"<style>{STYLESHEET}</style>" if self.look is Look.ALONE else ""
        card = f'<rect x="0" y="0" width="{self.size.width}" height="{number(height)}" {self._fill("card")}/>'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {kind}{box} {name} font-family="{font}">'
            f'<title id="t{key}">{escape(title)}</title><desc id="d{key}">{escape(description)}</desc>'
            f"{style}{card}{''.join(self._parts)}</svg>"
        )

    def _add(self, part: str) -> None:
        self._parts.append(part)

    def _fill(self, role: str) -> str:
        kind = "" if self.look is Look.PRINT else f' class="f-{role}"'
        return f'fill="{colour(role, self.look)}"{kind}'

    def _stroke(self, role: str, thick: float) -> str:
        kind = "" if self.look is Look.PRINT else f' class="s-{role}"'
        return f'stroke="{colour(role, self.look)}" stroke-width="{number(thick)}"{kind}'


def _box(x: float, y: float, width: float, height: float) -> str:
    return f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
