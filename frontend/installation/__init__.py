"""From a bare Python to a complete installation; needs the standard library only.

Order of work: interpreter (a fitting Python), environment (.venv and its packages), node (a
fitting Node.js), viewer_build (the page's script), each with its progress and its refusals.
"""
