"""One small installation per released version; every later version must open it.

A folder is made once, when its version is released, and never changed:

    python -m tests.releases.make_release

Its pictures and people are invented; all of it may be used under the licence of the project.
"""
