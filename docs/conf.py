"""Sphinx configuration: built without network, warnings as errors."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import fusetherm
from fusetherm.calibration.stored import cached_fit

if TYPE_CHECKING:
    from sphinx.application import Sphinx

project = "fusetherm"
author = "the fusetherm developers"
copyright = f"2026, {author}"
release = version = fusetherm.__version__

extensions = [
    "myst_nb",
    "numpydoc",
    "sphinx.ext.autodoc",
    "sphinx.ext.autosummary",
    "sphinx.ext.mathjax",
    "sphinx_gallery.gen_gallery",
]
sys.path.insert(0, str(Path(__file__).parent))  # tables.py, examples.py
myst_enable_extensions = ["amsmath", "colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3

autosummary_generate = True
autodoc_typehints = "none"
autodoc_default_options = {"members": True, "member-order": "bysource"}
numpydoc_show_class_members = False

html_theme = "alabaster"
html_theme_options = {
    "description": "Does this fuse carry this current?",
    # a line of 88 characters, as the commands print it, has room
    "page_width": "1180px",
    "body_max_width": "920px",
}
html_static_path = ["_static"]
html_css_files = ["pages.css"]
html_show_sourcelink = False
exclude_patterns = ["_build", "_generated", "gallery/*.ipynb"]

# The notebook runs at each build, and what it asserts holds or the build fails.
nb_execution_mode = "force"
nb_execution_raise_on_error = True
nb_execution_timeout = 300

# So do the examples. Their fits come from the cache, where the tests have left them: each test
# runs its example in a process of its own, and fits.
fusetherm.calibrate = cached_fit
sphinx_gallery_conf = {
    "examples_dirs": "../examples",
    "gallery_dirs": "gallery",
    "filename_pattern": r"\.py$",
    "within_subsection_order": "examples.Order",
    "image_scrapers": ("examples.figures",),
    "reset_modules": (),
    "min_reported_time": 1e6,
    "write_computation_times": False,
    "show_signature": False,
    "backreferences_dir": None,
    "download_all_examples": False,
    "remove_config_comments": True,
}


def setup(app: Sphinx) -> None:
    """Before the pages are read, write the tables they include."""
    import tables

    app.connect("builder-inited", lambda app: tables.write(Path(app.srcdir) / "_generated"))
