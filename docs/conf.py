"""Sphinx configuration: built without network, warnings as errors."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import fusetherm

if TYPE_CHECKING:
    from sphinx.application import Sphinx

project = "fusetherm"
author = "the fusetherm developers"
copyright = f"2026, {author}"
release = version = fusetherm.__version__

extensions = [
    "myst_parser",
    "numpydoc",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "sphinx.ext.mathjax",
]
myst_enable_extensions = ["amsmath", "colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3

autosummary_generate = True
autodoc_typehints = "none"
autodoc_default_options = {"members": True, "member-order": "bysource"}
numpydoc_show_class_members = False

html_theme = "alabaster"
html_theme_options = {"description": "Does this fuse carry this current?"}
html_show_sourcelink = False
exclude_patterns = ["_build", "_generated"]


def setup(app: Sphinx) -> None:
    """Before the pages are read, write the tables they include."""
    sys.path.insert(0, str(Path(__file__).parent))
    import tables

    app.connect("builder-inited", lambda app: tables.write(Path(app.srcdir) / "_generated"))
