"""Markdown that people wrote, as HTML that cannot do anything but be read."""

import nh3
from markdown_it import MarkdownIt

__all__ = ["html_of_markdown"]

#: Raw HTML in the text stays text; no pictures, they would be fetched from elsewhere.
_READER = MarkdownIt("commonmark", {"html": False, "linkify": False}).enable("table").disable("image")
_TAGS = {
    "a",
    "blockquote",
    "br",
    "code",
    "em",
    "h3",
    "h4",
    "h5",
    "h6",
    "hr",
    "li",
    "ol",
    "p",
    "pre",
    "strong",
    "table",
    "tbody",
    "td",
    "th",
    "thead",
    "tr",
    "ul",
}
_SCHEMES = {"http", "https", "mailto"}


def html_of_markdown(text: str) -> str:
    r"""Return a text as HTML with a fixed list of elements and no attributes but safe links.

    Parameters
    ----------
    text : str
        CommonMark with tables.

    Returns
    -------
    html : str
        Safe to put into a page; headings of the first two ranks are unwrapped to text, because
        they belong to the page.

    Examples
    --------
    >>> html_of_markdown("a *dark* line <script>x</script>")
    '<p>a <em>dark</em> line &lt;script&gt;x&lt;/script&gt;</p>\n'
    >>> html_of_markdown("[here](javascript:alert(1))")
    '<p>[here](javascript:alert(1))</p>\n'
    """
    return nh3.clean(
        _READER.render(text),
        tags=_TAGS,
        attributes={"a": {"href", "title"}},
        url_schemes=_SCHEMES,
        link_rel="noopener noreferrer nofollow",
    )
