"""Figures against pictures and words of themselves, looked at with the eye when they were kept.

A figure of each kind is drawn from an invented answer (`drawn.py`). How letters are set differs
from one FreeType and one matplotlib to the next, and moves everything beside them; so the drawing
and its words are tested apart, and both hold on any machine:

- Without words and without a layout that makes room for them, in grey at `DPI`: the mean grey of
  each tile of `TILE` pixels, against that of the picture in ``kept/``. Under matplotlib 3.9, the
  oldest allowed, and 3.11 every tile is the same (measured); each seeded fault below moves one by
  more than twice `MOST`, the loss of a thin dotted line among them.
- The words, in order, against ``kept/words.txt``.
- With the words: none lies over another, none is cut at the edge of the figure.

To keep new ones, after having looked at them: ``python tests/figures/test_figures.py``.
"""

from __future__ import annotations

import importlib.util
import io
import itertools
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import matplotlib
import matplotlib.image
import numpy as np
import numpy.typing as npt
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

HERE = Path(__file__).parent
KEPT = HERE / "kept"
DPI, TILE, MOST = 50, 8, 4.0


def _drawn() -> dict[str, Callable[[], Figure]]:
    spec = importlib.util.spec_from_file_location("drawn_figures", HERE / "drawn.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    figures: dict[str, Callable[[], Figure]] = module.FIGURES
    return figures


FIGURES = _drawn()


@pytest.fixture(autouse=True)
def _settings() -> Iterator[None]:
    """Whatever the settings of the machine."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        yield


def drawn(name: str) -> Figure:
    """A figure with its letters set."""
    figure = FIGURES[name]()
    FigureCanvasAgg(figure).draw()
    return figure


def picture(figure: Figure) -> Any:
    """A figure not yet drawn, without its words, in grey, 0 to 255."""
    figure.set_layout_engine("none")
    figure.set_size_inches(figure.get_size_inches() + 1e-6)  # 4.6 inches are not 229 pixels
    for ax in figure.axes:
        box = ax.get_legend()
        if box is not None:
            box.remove()
    for text in figure.findobj(Text):
        text.set_visible(False)
    with io.BytesIO() as stream:
        figure.savefig(stream, format="png", dpi=DPI, facecolor="white")
        stream.seek(0)
        colours = matplotlib.image.imread(stream)[..., :3]
    # weights of the luminance of ITU-R BT.601, from memory
    return np.rint(255.0 * colours @ np.array([0.299, 0.587, 0.114]))


def kept(name: str) -> npt.NDArray[np.float64]:
    """The picture kept of a figure, in grey."""
    read = matplotlib.image.imread(KEPT / f"{name}.png")
    return 255.0 * np.asarray(read if read.ndim == 2 else read[..., 0], dtype=np.float64)


def apart(one: Any, other: Any) -> float:
    """Largest difference of the mean grey of a tile; infinite for different sizes."""
    if one.shape != other.shape:
        return np.inf
    rows, columns = (size // TILE for size in one.shape)
    off = (one - other)[: TILE * rows, : TILE * columns].reshape(rows, TILE, columns, TILE)
    return float(np.abs(off.mean(axis=(1, 3))).max())


def shown(figure: Figure) -> list[Text]:
    """Texts that are seen; of the ticks those within the limits of their axis."""
    found = []
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                room = 1e-9 * (high - low)
                inside = low - room <= tick.get_loc() <= high + room
                for label in (tick.label1, tick.label2):
                    label.set_visible(label.get_visible() and inside)
    for text in figure.findobj(Text):
        if isinstance(text, Text) and text.get_visible() and text.get_text().strip():
            found.append(text)
    return found


def words(figure: Figure) -> str:
    """Titles, names of axes, ticks, legends and remarks of a figure, a line each."""
    lines = []
    shown(figure)
    for ax in figure.axes:
        ticks = [
            [t.get_text() for t in axis.get_majorticklabels() if t.get_visible() and t.get_text()]
            for axis in (ax.xaxis, ax.yaxis)
        ]
        box = ax.get_legend()
        lines += [
            "title: " + ax.get_title(loc="left"),
            f"x: {ax.get_xlabel()}: {' '.join(ticks[0])}",
            f"y: {ax.get_ylabel()}: {' '.join(ticks[1])}",
            *("legend: " + t.get_text() for t in (box.get_texts() if box else ())),
            *("remark: " + t.get_text() for t in ax.texts),
        ]
    return "\n".join(line.replace("\n", " / ") for line in lines)


def all_words() -> str:
    return "\n\n".join(f"[{name}]\n{words(drawn(name))}" for name in FIGURES) + "\n"


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_looks_as_it_was_kept(name: str) -> None:
    assert apart(picture(FIGURES[name]()), kept(name)) <= MOST


def test_figures_say_what_they_said() -> None:
    assert all_words() == (KEPT / "words.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", FIGURES)
def test_no_word_lies_over_another_or_is_cut(name: str) -> None:
    figure = drawn(name)
    shown(figure)
    boxes = [(t.get_text(), t.get_window_extent()) for t in shown(figure)]
    whole = figure.bbox
    for text, box in boxes:
        assert whole.x0 <= box.x0, f"{text!r} is cut"
        assert whole.y0 <= box.y0, f"{text!r} is cut"
        assert box.x1 <= whole.x1 + 1.0, f"{text!r} is cut"
        assert box.y1 <= whole.y1 + 1.0, f"{text!r} is cut"
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        wide = min(a.x1, b.x1) - max(a.x0, b.x0)
        high = min(a.y1, b.y1) - max(a.y0, b.y0)
        assert not (wide > 1.0 and high > 1.0), f"{one!r} lies over {other!r}"


@pytest.mark.parametrize("name", FIGURES)
def test_every_axis_of_numbers_has_a_name_and_a_unit(name: str) -> None:
    figure = drawn(name)
    for ax in figure.axes:
        for axis in (ax.xaxis, ax.yaxis):
            ticks = [t.get_text().strip("−-") for t in axis.get_ticklabels() if t.get_visible()]
            if any(t.replace(".", "", 1).isdigit() for t in ticks):
                label = axis.get_label().get_text()
                if not label and len(ax.get_shared_x_axes().get_siblings(ax)) > 1:
                    continue  # the other axes say it
                counts = label in ("swings in a cycle", "loaded ways")
                assert counts or label.endswith(")"), f"{label!r} has no unit"


def _no_line(figure: Figure) -> None:
    """The faintest curve is missing."""
    curves = [line for line in figure.axes[0].lines if len(np.ravel(line.get_xdata())) > 20]
    curves[-1].set_visible(False)


def _moved(figure: Figure) -> None:
    low, high = figure.axes[0].get_ylim()
    figure.axes[0].set_ylim(low / 1.2, high / 1.2)


def _pale(figure: Figure) -> None:
    for line in figure.axes[0].lines:
        line.set_color("#cccccc")


def _linear(figure: Figure) -> None:
    figure.axes[0].set_xscale("linear")


@pytest.mark.parametrize("name", ["curve", "selectivity", "protection"])
@pytest.mark.parametrize("fault", [_no_line, _moved, _pale, _linear])
def test_a_fault_is_seen(name: str, fault: Callable[[Figure], Any]) -> None:
    figure = FIGURES[name]()
    fault(figure)
    assert apart(picture(figure), kept(name)) > 2.0 * MOST


def test_a_word_too_many_is_seen() -> None:
    figure = drawn("curve")
    figure.axes[0].annotate("laid over the title", (0.1, 1.01), xycoords="axes fraction")
    boxes = [t.get_window_extent(FigureCanvasAgg(figure).get_renderer()) for t in shown(figure)]
    assert any(a.overlaps(b) for a, b in itertools.combinations(boxes, 2))
    assert words(figure) not in (KEPT / "words.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    from PIL import Image

    KEPT.mkdir(exist_ok=True)
    for name in FIGURES:
        Image.fromarray(picture(FIGURES[name]()).astype(np.uint8)).save(
            KEPT / f"{name}.png", optimize=True
        )
    (KEPT / "words.txt").write_text(all_words(), encoding="utf-8")
