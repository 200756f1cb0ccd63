"""Template tags that put the built viewer, its fonts and its signs into a page."""

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from django import template
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.templatetags.static import static
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

__all__ = ["icon", "initials", "register", "viewer_entry", "viewer_fonts"]

register = template.Library()

_VIEWER_FOLDER = Path(__file__).resolve().parent.parent / "viewer"
_MANIFEST_PATH = _VIEWER_FOLDER / "dist" / "manifest.json"
_ICONS_PATH = _VIEWER_FOLDER / "ui" / "icons.json"
# The two faces in which the first words of a page are set; the rest may arrive later.
_PRELOADED_FONTS = ("vollkorn-latin-wght-normal", "alegreya-sans-latin-400-normal")
_ENTRY_SOURCES = {
    "base": "base.ts",
    "examination": "main.ts",
    "points": "points.ts",
    "frame_setup": "frame_setup.ts",
    "bring_in": "bring_in.ts",
    "live_list": "live_list.ts",
}


@register.simple_tag
def viewer_entry(name: str) -> SafeString:
    """Return the style sheets, preloads and module script of one entry of the viewer."""
    manifest = _manifest()
    source = _ENTRY_SOURCES[name]
    styles: list[str] = []
    preloads: list[str] = []
    _collect(manifest, source, styles=styles, preloads=preloads)
    entry_file = manifest[source]["file"]
    return format_html(
        '{}{}<script type="module" src="{}"></script>',
        format_html_join("", '<link rel="stylesheet" href="{}">', ((_address(file),) for file in styles)),
        format_html_join(
            "", '<link rel="modulepreload" href="{}">', ((_address(file),) for file in preloads if file != entry_file)
        ),
        _address(entry_file),
    )


@register.simple_tag
def viewer_fonts() -> str:
    """Return the addresses of the fonts a page needs at once; `room.js` asks for them unless the link is slow."""
    files = [
        chunk["file"]
        for source, chunk in _manifest().items()
        if source.endswith(".woff2") and Path(source).stem in _PRELOADED_FONTS
    ]
    return " ".join(_address(file) for file in sorted(files))


@register.simple_tag
def icon(name: str) -> SafeString:
    """Return one of our signs as inline SVG, hidden from readers: the word beside it carries the meaning."""
    drawing = _drawings()[name]
    paths = [
        (css_class, drawing[kind])
        for kind, css_class in (("line", "icon-line"), ("dashed", "icon-dashed"), ("solid", "icon-solid"))
        if kind in drawing
    ]
    return format_html(
        '<svg class="icon" viewBox="0 0 20 20" aria-hidden="true" focusable="false">{}</svg>',
        format_html_join("", '<path class="{}" d="{}"/>', paths),
    )


@register.simple_tag
def initials(person: object) -> str:
    """Return two letters for a person's square: the first of the first and of the last word of the name."""
    words = str(person).split("@", maxsplit=1)[0].replace(".", " ").split()
    if not words:
        return "?"
    return (words[0][0] + (words[-1][0] if len(words) > 1 else words[0][1:2])).upper()


def _collect(manifest: dict[str, dict[str, Any]], source: str, *, styles: list[str], preloads: list[str]) -> None:
    chunk = manifest[source]
    if chunk["file"] in preloads:
        return
    preloads.append(chunk["file"])
    for file in chunk.get("css", []):
        if file not in styles:
            styles.append(file)
    for imported in chunk.get("imports", []):
        _collect(manifest, imported, styles=styles, preloads=preloads)


def _address(file: str) -> str:
    return static(f"viewer/{file}")


def _manifest() -> dict[str, dict[str, Any]]:
    if settings.DEBUG:
        # A rebuilt viewer shows at the next request of a developer.
        _read_json.cache_clear()
    try:
        return _read_json(_MANIFEST_PATH)
    except FileNotFoundError:
        raise ImproperlyConfigured(
            f"The viewer is not built: {_MANIFEST_PATH} is missing. "
            f"Run 'npm ci' and 'npm run build' in {_VIEWER_FOLDER}."
        ) from None


def _drawings() -> dict[str, dict[str, str]]:
    return _read_json(_ICONS_PATH)


@lru_cache(maxsize=4)
def _read_json(path: Path) -> dict[str, dict[str, Any]]:
    document: dict[str, dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))
    return document
