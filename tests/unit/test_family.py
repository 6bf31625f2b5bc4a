"""Families: shipped files, a file of the user's, sizes, and priors for one fuse."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from fusetherm.errors import FileError, InputError
from fusetherm.fuse.definition import Definition, load_fuse, loads
from fusetherm.fuse.family import element_metal, family_names, family_of, load_family
from fusetherm.fuse.prior import PARAMETER_UNITS, Prior, quantities
from fusetherm.physics.metals import metal

EXAMPLE = Path(__file__).parents[1] / "data" / "example_high_current_blade_40A.toml"
ZINC = resources.files("fusetherm.fuse").joinpath("families", "zinc-strip.toml").read_text("utf-8")


def bare(rated_current: float = 15.0, **more: object) -> Definition:
    """A fuse of which nothing is known but its rating."""
    values = {"id": "a", "family": "zinc-strip", "source": "invented", **more}
    return Definition(rated_current=rated_current, **values)  # type: ignore[arg-type]


def priors(fuse: Definition, contact: str = "new") -> dict[str, Prior]:
    found = family_of(fuse).priors(fuse, contact)  # type: ignore[arg-type]
    return {prior.name: prior for prior in found}


def test_shipped_families() -> None:
    assert family_names() == (
        "bolted-strip", "notched-strip", "tin-spot-strip", "tin-spot-wire", "wire-in-body",
        "wire-in-sand", "zinc-strip",
    )  # fmt: skip


@pytest.mark.parametrize("name", family_names())
def test_each_prior_has_a_reason_and_its_unit(name: str) -> None:
    family = load_family(name)
    assert family.name == name
    wanted = quantities(
        spot=family.spot is not None, filler=family.filler is not None, notch=family.notched
    )
    assert tuple(parameter.name for parameter in family.parameters) == wanted
    assert metal(family.metal).name == family.metal
    for parameter in family.parameters:
        assert parameter.unit == PARAMETER_UNITS[parameter.name]
        assert len(parameter.reason) > 40
        assert 0.15 <= parameter.sd <= 1.0
    for size in family.sizes:
        assert size.min_rating < size.max_rating
        assert (size.thickness is None) == (family.element == "wire")


def test_size_by_name_or_by_rating() -> None:
    family = load_family("zinc-strip")
    size, notes = family.size(40.0, "high-current-blade")
    assert (size.name, size.blade_width, notes) == ("high-current-blade", 8e-3, ())
    size, (note,) = family.size(80.0)
    assert (size.name, note.code) == ("high-current-blade", "size-assumed")
    size, (note,) = family.size(80.0, "medium-blade")
    assert (size.name, note.code) == ("medium-blade", "rating-outside-size")
    size, notes = family.size(500.0)
    assert size.name == "high-current-blade"
    assert [note.code for note in notes] == ["rating-outside-size", "size-assumed"]
    with pytest.raises(InputError, match="did you mean medium-blade"):
        family.size(15.0, "medium")


def test_centres_follow_size_and_rating() -> None:
    small, large = priors(bare(5.0)), priors(bare(30.0))
    ratio = small["half_element_resistance"].centre / large["half_element_resistance"].centre
    assert ratio == pytest.approx(6.0**1.2)
    medium, high = priors(bare(30.0)), priors(bare(30.0, size="high-current-blade"))
    assert high["blade_heat_capacity"].centre == 2 * medium["blade_heat_capacity"].centre
    # Half of a cold drop of 56 mV at 40 A.
    forty = priors(bare(40.0, size="high-current-blade"))["half_element_resistance"].centre
    assert 2 * forty * 40 == pytest.approx(0.056, rel=0.01)


def test_worn_contacts() -> None:
    fuse = bare(40.0, size="high-current-blade")
    assert priors(fuse)["contact_resistance"].centre == 0.15e-3
    assert priors(fuse, "worn")["contact_resistance"].centre == 0.6e-3
    assert priors(fuse, "worn")["lateral_loss"] == priors(fuse)["lateral_loss"]


def test_stated_values_take_the_place_of_centres() -> None:
    fuse = load_fuse(EXAMPLE)
    found = priors(fuse)
    zinc = metal("zinc")
    at_20 = 1.24e-3 * zinc.resistivity(293.15) / zinc.resistivity(296.15)
    assert found["half_element_resistance"].centre == pytest.approx(at_20 / 2, rel=1e-12)
    assert found["half_element_resistance"].sd == pytest.approx(0.05)  # half of 10 %
    assert found["half_element_length"].centre == 0.014
    assert found["half_element_length"].sd == 0.05
    assert found["contact_resistance"].centre == pytest.approx(0.15e-3)
    assert found["notch_area_ratio"].centre == 0.4
    assert found["half_element_resistance"].reason == "stated by the definition: invented"


def test_resistance_between_clips_is_freed_of_contacts() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    text = text.replace("temperature_C = 23", "temperature_C = 20", 1)
    clips = text.replace('measured_at = "blades"', 'measured_at = "clips"', 1)
    at_blades = priors(loads(text))["half_element_resistance"].centre
    at_clips = priors(loads(clips))["half_element_resistance"].centre
    assert at_blades - at_clips == pytest.approx(0.15e-3)
    low = loads(clips.replace("= 1.24", "= 0.25"))
    with pytest.raises(InputError) as caught:
        priors(low)
    assert caught.value.code == "element-resistance-not-positive"


def test_stated_notch() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    notch = "width_mm = 3\nnotch_width_mm = 1.5\nnotch_length_mm = 7\nthickness_mm = 0.5"
    found = priors(loads(text.replace("thickness_mm = 0.5", notch)))
    assert found["notch_area_ratio"].centre == pytest.approx(0.5)
    assert found["notch_length_fraction"].centre == pytest.approx(0.25)


def test_metal_of_the_element() -> None:
    fuse = load_fuse(EXAMPLE)
    assert element_metal(fuse) == metal("zinc")
    assert element_metal(bare(family="wire-in-body", rated_current=1.0)) == metal("silver")
    text = EXAMPLE.read_text(encoding="utf-8").replace('metal = "zinc"', "")
    own = loads(
        text
        + '[metal]\nname = "mine"\ndensity_kg_per_m3 = 7100\nsolidus_C = 380\n'
        + "latent_heat_J_per_kg = 0\nresistivity_ohm_m = 6.2e-8\nspecific_heat_J_per_kgK = 390\n"
        + 'temperature_coefficient_per_K = 0.0035\nsource = "invented"\n'
    )
    alloy = element_metal(own)
    assert (alloy.name, alloy.solidus_k, alloy.liquidus_k) == ("mine", 653.15, 653.15)
    assert alloy.latent_heat == 1.0
    assert alloy.resistivity(293.15) == pytest.approx(6.2e-8)


def test_family_of_the_user(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(ZINC.replace('"zinc-strip"', '"own"'), encoding="utf-8")
    fuse = tmp_path / "fuse.toml"
    text = EXAMPLE.read_text(encoding="utf-8").replace('"zinc-strip"', '"own.toml"')
    fuse.write_text(text, encoding="utf-8")
    family = family_of(load_fuse(fuse))
    assert family.name == "own"
    assert family == load_family(tmp_path / "own.toml")
    assert family.family_hash != load_family("zinc-strip").family_hash


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("sd = 0.3", "sdd = 0.3", "unknown-key"),
        ('name = "lateral_loss"', 'name = "lateral_los"', "unknown-choice"),
        ('name = "lateral_loss"', 'name = "notch_area_ratio"', "family-incomplete"),
        ('unit = "W/K"', 'unit = "mW/K"', "family-unit"),
        ("centre = 0.4\n", "centre = 1.4\n", "family-centre"),
        ("centre = 3.0\n", "centre = 1.0\n", "family-centre"),
        ('size = "high-current-blade"', 'size = "large"', "size-unknown"),
        ('name = "zinc-strip"', 'name = "z"\nspot = "tin"', "family-incomplete"),
        ('name = "zinc-strip"', 'name = "z"\nfiller = "sand"', "family-incomplete"),
        ('name = "zinc-strip"', 'name = "z"\nspot = "lead"', "unknown-choice"),
        ("thickness_mm = 0.3\n", "", "family-incomplete"),
        ("max_rating_A = 40\n", "max_rating_A = 1\n", "family-centre"),
        ("reason = ", "why = ", "unknown-key"),
        ('metals = ["zinc"]', "metals = []", "family-incomplete"),
        ("schema_version = 1", "schema_version = 2", "out-of-bounds"),
    ],
)
def test_family_files_that_go_wrong(old: str, new: str, code: str, tmp_path: Path) -> None:
    assert old in ZINC
    file = tmp_path / "own.toml"
    file.write_text(ZINC.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_family(file)
    assert caught.value.code == code
    assert caught.value.path == str(file)
    assert caught.value.line is not None


def test_repeated_parameter(tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    head, _, last = ZINC.rpartition("[[parameter]]")
    file.write_text(f"{head}[[parameter]]{last}\n[[parameter]]{last}", encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_family(file)
    assert caught.value.code == "family-repeats"


def test_a_quantity_without_a_place(tmp_path: Path) -> None:
    entry = '\n[[parameter]]\nname = "spot_rate"\nunit = "1/s"\ntransform = "log"\n'
    file = tmp_path / "own.toml"
    file.write_text(f'{ZINC}{entry}centre = 0.05\nsd = 1\nreason = "x"\n', encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_family(file)
    assert caught.value.code == "family-quantity"
    assert caught.value.line == file.read_text(encoding="utf-8").splitlines().index(
        'name = "spot_rate"'
    ) + 1  # fmt: skip


def test_a_reason_that_is_missing_is_told_with_its_line(tmp_path: Path) -> None:
    head, _, _ = ZINC.rpartition("reason = ")
    file = tmp_path / "own.toml"
    file.write_text(head, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_family(file)
    assert (caught.value.code, caught.value.key) == ("missing-key", "parameter[11].reason")
    assert caught.value.line is not None


def test_unknown_family() -> None:
    with pytest.raises(InputError, match="did you mean zinc-strip"):
        load_family("zinc-stripe")
