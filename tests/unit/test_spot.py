"""Spots and fillers of definitions: what is stated, where it lies, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fusetherm.calibration.build import model_of_parameters, values_of
from fusetherm.errors import FileError, InputError
from fusetherm.fuse.definition import Definition, loads
from fusetherm.fuse.element import RoundSection, Section
from fusetherm.fuse.family import family_of
from fusetherm.fuse.model import FuseModel
from fusetherm.fuse.spot import with_spot

TIN = """schema_version = 1
id = "a"
family = "tin-spot-wire"
size = "5x20"
rated_current_A = 2
source = "invented"
"""
GG = TIN.replace("wire", "strip").replace("5x20", "22x58").replace("= 2\n", "= 63\n")
SAND = TIN.replace("tin-spot-wire", "wire-in-sand")


def model_of(fuse: Definition) -> FuseModel:
    family = family_of(fuse)
    return model_of_parameters(
        fuse, family, values_of(family.priors(fuse), [0.0] * len(family.parameters))
    )


def test_what_is_stated_of_a_spot_is_taken() -> None:
    text = TIN + '[spot]\nlength_mm = 3\nposition_mm = 5\nonset_C = 217\nsource = "drawing"\n'
    element = model_of(loads(text)).element
    assert element.spot is not None
    assert element.spot.dissolution.onset_k == pytest.approx(490.15)
    assert element.spot.dissolution.source == "stated"
    assert [1e3 * part.length for part in element.sections] == pytest.approx([3.5, 3.0, 7.5])
    assert loads(loads(text).to_toml()) == loads(text)


def test_a_fitted_wire_has_its_resistance_and_its_spot_in_the_middle() -> None:
    fuse = loads(TIN)
    element = model_of(fuse).element
    priors = {prior.name: prior.centre for prior in family_of(fuse).priors(fuse)}
    assert element.cold_resistance() == pytest.approx(2.0 * priors["half_element_resistance"])
    assert [1e3 * part.length for part in element.sections] == pytest.approx([6.0, 2.0, 6.0])
    assert element.spot is not None
    assert (element.spot.section, element.spot.dissolution.onset_k) == (1, 500.0)


def test_a_fitted_strip_has_two_bridges_beside_its_spot() -> None:
    fuse = loads(GG)
    model = model_of(fuse)
    priors = {prior.name: prior.centre for prior in family_of(fuse).priors(fuse)}
    assert model.element.bridges() == (1, 3)
    assert model.element.spot is not None
    assert model.element.spot.section == 2
    assert model.element.length == pytest.approx(42e-3)
    assert model.element.cold_resistance() == pytest.approx(
        2.0 * priors["half_element_resistance"], rel=2e-3
    )
    assert model.body is not None
    assert model.body.filler is not None
    assert (model.body.filler.bore, model.body.element_loss) == (17e-3, 0.0)


def test_strips_side_by_side_have_sand_between_them() -> None:
    fuse = loads(GG.replace("22x58", "blade-00").replace("= 63", "= 160"))
    body = model_of(fuse).body
    assert body is not None
    assert body.filler is not None
    assert body.filler.bore > 24e-3


def test_what_is_stated_of_the_sand_is_taken() -> None:
    stated = '[filler]\nconductivity_W_per_mK = 0.4\nheat_J_per_m3K = 1.5e6\nsource = "x"\n'
    text = SAND + stated + '[geometry]\nbore_mm = 3.2\nsource = "x"\n'
    body = model_of(loads(text)).body
    assert body is not None
    assert body.filler is not None
    assert body.filler.bore == 3.2e-3
    assert body.filler.conductivity == pytest.approx(0.4)
    assert body.filler.heat == pytest.approx(1.5e6)


def test_a_spot_takes_a_part_of_the_section_it_lies_on() -> None:
    taper = Section(4e-3, 2e-3, 1e-4, end_width=1e-3)
    parts, index = with_spot([taper, Section(2e-3, 1e-3, 1e-4)], 1e-3, 2e-3)
    assert index == 1
    assert len(parts) == 4
    x = np.array([0.3e-3])
    spot = parts[1]
    assert isinstance(spot, Section)
    assert spot.breadth(x) == pytest.approx(taper.breadth(1.5e-3 + x))
    whole, index = with_spot([taper, Section(2e-3, 1e-3, 1e-4)], 2e-3, 5e-3)
    assert (len(whole), index) == (2, 1)
    # longer than its section: it ends with it, but for a free part on either side
    parts, index = with_spot([RoundSection(5e-3, 1e-4)], 4.99e-3)
    assert index in (0, 1)
    assert math.fsum(part.length for part in parts) == pytest.approx(5e-3)
    with pytest.raises(InputError, match="rounded notch"):
        with_spot([Section(2e-3, 2e-3, 1e-4, middle_width=1e-3)], 1e-3)


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        (TIN + '[geometry]\nmetal = "zinc"\nsource = "x"\n', "spot-on-metal", 8),
        (TIN + '[geometry]\nmetal = "aluminium"\nsource = "x"\n', "spot-on-metal", 8),
        (
            TIN + '[geometry]\nmetal = "tin"\nsource = "x"\n[spot]\nonset_C = 200\nsource = "x"\n',
            "spot-on-metal",
            11,
        ),
        (
            TIN.replace("tin-spot-wire", "wire-in-body") + '[spot]\nsource = "x"\n',
            "spot-without-family",
            7,
        ),
        (TIN + '[filler]\nsource = "x"\n', "filler-without-family", 7),
        (
            TIN + '[spot]\nposition_mm = 20\nsource = "x"\n[geometry]\nlength_mm = 14\n'
            'source = "x"\n',
            "spot-off-the-element",
            7,
        ),
        (TIN + '[spot]\nalloy = "lead"\nsource = "x"\n', "unknown-choice", 8),
    ],
)
def test_refusals_name_the_line(text: str, code: str, line: int) -> None:
    with pytest.raises(FileError) as caught:
        loads(text)
    assert (caught.value.code, caught.value.line) == (code, line)


def test_tin_on_zinc_is_taken_from_someone_who_knows_its_onset() -> None:
    stated = '[geometry]\nmetal = "zinc"\nsource = "x"\n[spot]\nonset_C = 199\nsource = "x"\n'
    element = model_of(loads(TIN + stated)).element
    assert element.metal.name == "zinc"


def test_the_place_of_a_spot_on_a_strip_needs_a_drawing() -> None:
    fuse = loads(GG + '[spot]\nposition_mm = 5\nsource = "x"\n')
    with pytest.raises(InputError, match="spot-without-drawing"):
        model_of(fuse)
