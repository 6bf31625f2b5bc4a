"""What `sphinx_gallery` is told of the examples: their order, and how their figures are found.

The package's figures are objects that no pyplot knows, so an example leaves its own in the name
``figure``, and this takes it from there.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sphinx_gallery.scrapers import figure_rst

#: In the order of the guides; an example that is not named comes last.
ORDER = (
    "ten_lines",
    "why_did_it_open",
    "how_long_does_it_last",
    "hot_air_rating",
    "hot_box_and_preload",
    "which_wire",
    "two_in_series",
    "reading_a_meter",
    "what_a_curve_tells",
    "first_principles",
    "monte_carlo",
)


class Order:
    """Sort key of the examples in the gallery."""

    def __init__(self, folder: str) -> None:
        self.folder = folder

    def __call__(self, file: str) -> tuple[int, str]:
        name = Path(file).stem
        return (ORDER.index(name) if name in ORDER else len(ORDER), name)

    def __repr__(self) -> str:
        return "<the order of the guides>"


def figures(block: Any, block_vars: dict[str, Any], gallery_conf: dict[str, Any]) -> str:
    """Save the figure that a block of an example has made; text of its picture."""
    figure = block_vars["example_globals"].pop("figure", None)
    if figure is None:
        return ""
    path = next(block_vars["image_path_iterator"])
    figure.savefig(path, dpi=120)
    return str(figure_rst([path], gallery_conf["src_dir"]))
