"""The tags that put the built viewer, its fonts and its signs into a page."""

import json

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.template import Context, Template

from frontend.templatetags import viewer_assets

MANIFEST = {
    "base.ts": {"file": "assets/base-1.js", "css": ["assets/base-1.css"], "imports": []},
    "main.ts": {"file": "assets/examination-1.js", "css": ["assets/examination-1.css"], "imports": ["_shared.js"]},
    "_shared.js": {"file": "assets/shared-1.js", "css": ["assets/shared-1.css"], "imports": []},
    "node_modules/x/vollkorn-latin-wght-normal.woff2": {"file": "assets/vollkorn-1.woff2"},
    "node_modules/x/alegreya-sans-latin-400-normal.woff2": {"file": "assets/alegreya-1.woff2"},
    "node_modules/x/alegreya-sans-greek-400-normal.woff2": {"file": "assets/greek-1.woff2"},
}


@pytest.fixture
def built_viewer(tmp_path, monkeypatch, settings):
    path = tmp_path / "manifest.json"
    path.write_text(json.dumps(MANIFEST), encoding="utf-8")
    monkeypatch.setattr(viewer_assets, "_MANIFEST_PATH", path)
    settings.STATIC_URL = "/static/"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    return path


def rendered(source):
    return Template("{% load viewer_assets %}" + source).render(Context())


def test_an_entry_brings_its_styles_and_those_it_imports(built_viewer):
    page = rendered('{% viewer_entry "examination" %}')
    assert '<link rel="stylesheet" href="/static/viewer/assets/examination-1.css">' in page
    assert '<link rel="stylesheet" href="/static/viewer/assets/shared-1.css">' in page
    assert '<script type="module" src="/static/viewer/assets/examination-1.js"></script>' in page


def test_an_entry_preloads_what_it_imports_but_not_itself(built_viewer):
    page = rendered('{% viewer_entry "examination" %}')
    assert page.count("modulepreload") == 1
    assert '<link rel="modulepreload" href="/static/viewer/assets/shared-1.js">' in page


def test_only_the_fonts_of_the_first_words_are_asked_for_at_once(built_viewer):
    assert rendered("{% viewer_fonts %}") == (
        "/static/viewer/assets/alegreya-1.woff2 /static/viewer/assets/vollkorn-1.woff2"
    )


def test_a_viewer_that_is_not_built_says_how_to_build_it(built_viewer):
    viewer_assets._read_json.cache_clear()
    built_viewer.unlink()
    with pytest.raises(ImproperlyConfigured, match=r"npm run build"):
        rendered('{% viewer_entry "base" %}')


def test_a_sign_is_hidden_from_readers():
    page = rendered('{% icon "wipe" %}')
    assert page.startswith('<svg class="icon"')
    assert 'aria-hidden="true"' in page


@pytest.mark.parametrize(
    ("name", "letters"),
    [("Ilse Korvander", "IK"), ("Odile van Marchwood", "OM"), ("mirel@lab-south.example", "MI"), ("", "?")],
)
def test_initials_are_two_letters(name, letters):
    assert viewer_assets.initials(name) == letters
